//! Draws cross-sections of crimps: strands in a folded barrel, a little different for each number. No photograph of
//! anybody is needed.

use image::codecs::jpeg::JpegEncoder;
use image::codecs::png::PngEncoder;
use image::{ImageEncoder as _, Rgb, RgbImage};

/// A cross-section of this size; another number gives another one.
pub(crate) fn cross_section(number: u32, (width, height): (u32, u32)) -> RgbImage {
    let (middle, half) = (i64::from(width) / 2, i64::from(height) / 2);
    let unit = half.max(8) / 8;
    RgbImage::from_fn(width, height, |x, y| {
        let (x, y) = (i64::from(x) - middle, i64::from(y) - half);
        // The barrel: a flat ellipse, with a seam from above.
        let from_middle = (x * x) / 36 + (y * y) / 16;
        let seam = y < 0 && x.abs() < unit / 4;
        if from_middle > unit * unit || (seam && y < -unit) {
            return Rgb([24, 26, 30]);
        }
        if from_middle > unit * unit * 6 / 10 || seam {
            return Rgb([190, 170, 110]);
        }
        let pitch = unit.max(2);
        let (column, row) = (x.div_euclid(pitch), y.div_euclid(pitch));
        let (dx, dy) = (
            x.rem_euclid(pitch) - pitch / 2,
            y.rem_euclid(pitch) - pitch / 2,
        );
        let tint = u8::try_from((column * 7 + row * 13 + i64::from(number) * 29).rem_euclid(60));
        if dx * dx + dy * dy > pitch * pitch / 5 {
            Rgb([90, 60, 40])
        } else {
            Rgb([170 + tint.unwrap(), 100, 60])
        }
    })
}

pub(crate) fn jpeg(number: u32, size: (u32, u32)) -> Vec<u8> {
    let mut bytes = Vec::new();
    let encoder = JpegEncoder::new_with_quality(&mut bytes, 90);
    cross_section(number, size)
        .write_with_encoder(encoder)
        .unwrap();
    bytes
}

pub(crate) fn png(number: u32, size: (u32, u32)) -> Vec<u8> {
    let mut bytes = Vec::new();
    cross_section(number, size)
        .write_with_encoder(PngEncoder::new(&mut bytes))
        .unwrap();
    bytes
}

/// A PNG of these sizes in its head, of one colour; small in bytes whatever its sizes.
pub(crate) fn bomb((width, height): (u32, u32)) -> Vec<u8> {
    let mut bytes = Vec::new();
    let line = usize::try_from(width).unwrap();
    let pixels = vec![0; line * usize::try_from(height).unwrap()];
    PngEncoder::new(&mut bytes)
        .write_image(&pixels, width, height, image::ExtendedColorType::L8)
        .unwrap();
    bytes
}

/// The JPEG as a telephone saves it: with the way it was held, the place and the device.
pub(crate) fn with_exif(jpeg: &[u8], orientation: u8) -> Vec<u8> {
    let tiff = [
        &b"MM\0*\0\0\0\x08"[..], // big-endian, first directory at 8
        &[0, 3],                 // three entries
        &[0x01, 0x0f, 0, 2, 0, 0, 0, 8, 0, 0, 0, 50], // make: 8 letters at 50
        &[0x01, 0x12, 0, 3, 0, 0, 0, 1, 0, orientation, 0, 0], // orientation
        &[0x88, 0x25, 0, 4, 0, 0, 0, 1, 0, 0, 0, 58], // GPS directory at 58
        &[0, 0, 0, 0],
        b"SECRETS\0",
        &[0, 1],
        &[0, 1, 0, 2, 0, 0, 0, 2, b'N', 0, 0, 0], // latitude north
        &[0, 0, 0, 0],
    ]
    .concat();
    let length = u16::try_from(2 + 6 + tiff.len()).unwrap().to_be_bytes();
    [
        &jpeg[..2],
        b"\xff\xe1",
        &length,
        b"Exif\0\0",
        &tiff,
        &jpeg[2..],
    ]
    .concat()
}
