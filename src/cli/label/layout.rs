//! Where everything stands on a label, in whole dots of the printer.
//!
//! In: the size of the label, the modules of its code, and its paragraphs with their importance. Out: the places of
//! code and lines, or that they do not fit.
//!
//! - The code stands beside the text, or above it. Its modules are a whole number of dots, and at least
//!   [`LEAST_MODULE`].
//! - Of the arrangements that fit, one with modules of [`GOOD_MODULE`] is preferred; then the one that leaves out the
//!   fewest paragraphs; then the one with the larger code.
//! - Letters have a fixed width: the page forces it, whatever font the browser has.

use std::fmt;
use std::str::FromStr;

/// The size of a label in whole millimetres.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct LabelSize {
    pub(super) width: u32,
    pub(super) height: u32,
}

/// No label is larger than a sheet.
const LARGEST: u32 = 300;

impl fmt::Display for LabelSize {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}x{}", self.width, self.height)
    }
}

impl FromStr for LabelSize {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let sides = text.split_once(['x', 'X', '×']);
        let side = |text: &str| {
            text.trim()
                .parse()
                .ok()
                .filter(|side| (1..=LARGEST).contains(side))
        };
        let sides = sides.and_then(|(width, height)| Some((side(width)?, side(height)?)));
        let (width, height) = sides.ok_or_else(|| {
            format!("want width x height in whole millimetres up to {LARGEST}, such as 62x29")
        })?;
        Ok(Self { width, height })
    }
}

/// Smallest size of a module, in thousandths of a millimetre (common practice for 203 dpi printers: two dots; no
/// source).
const LEAST_MODULE: u32 = 250;
/// A module that hand scanners and telephones read easily (common practice, no source).
const GOOD_MODULE: u32 = 375;
/// A larger module is no easier to read.
const LARGEST_MODULE: u32 = 750;
/// Margin around the text, in thousandths of a millimetre.
const MARGIN: u32 = 1_000;
/// Height of a letter and of its line, in thousandths of a millimetre.
const SMALL: (u32, u32) = (2_250, 2_750);
const TITLE: (u32, u32) = (3_000, 3_625);
/// Height of the outcome's letters, at most; a small one leaves room for more lines.
const BANDS: [u32; 3] = [6_000, 4_500, 3_000];
/// Smallest height of the outcome's letters.
const LEAST_BAND: u32 = 3_000;
/// A letter's width in thousandths of its height.
const ADVANCE: u32 = 600;
/// A line for fewer letters is of no use.
const FEWEST_LETTERS: u32 = 10;

/// The style of a paragraph.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Style {
    /// The job or the series.
    Title,
    /// The outcome: one line, as large as it fits; inverse unless it is accepted.
    Band { inverse: bool },
    /// A reservation of the outcome.
    Strong,
    /// Everything else.
    Small,
}

/// A paragraph that is on the label as a whole, or not at all.
#[derive(Debug, Clone)]
pub(super) struct Paragraph {
    pub(super) text: String,
    pub(super) style: Style,
    /// The name to report if it is left out; `None` if it never is.
    pub(super) name: Option<&'static str>,
    /// The order of leaving out: higher ranks go first.
    pub(super) rank: u8,
}

/// A line of text, its baseline in dots.
#[derive(Debug, Clone)]
pub(super) struct Placed {
    pub(super) text: String,
    pub(super) x: u32,
    pub(super) baseline: u32,
    /// Height of the letters.
    pub(super) size: u32,
    /// Width of the whole line.
    pub(super) width: u32,
    /// The box behind it, its top and its height; it is as wide as the text region.
    pub(super) band: Option<(u32, u32, bool)>,
    pub(super) style: Style,
}

/// A label with the places of all its parts.
#[derive(Debug)]
pub(super) struct Layout {
    /// Width in dots.
    pub(super) width: u32,
    pub(super) height: u32,
    /// Left and top of the code with its quiet zone, and the dots of a module.
    pub(super) code: (u32, u32, u32),
    pub(super) lines: Vec<Placed>,
    /// The text region: left and width.
    pub(super) region: (u32, u32),
    /// Names of the paragraphs that have no room.
    pub(super) left_out: Vec<&'static str>,
}

/// The printer's dots in a millimetre, to convert lengths.
#[derive(Debug, Clone, Copy)]
pub(super) struct Dots(pub(super) u32);

impl Dots {
    /// The whole number of dots within this many thousandths of a millimetre.
    fn of(self, thousandths: u32) -> u32 {
        thousandths.saturating_mul(self.0) / 1_000
    }

    /// The number of dots that is at least this many thousandths of a millimetre.
    fn at_least(self, thousandths: u32) -> u32 {
        thousandths.saturating_mul(self.0).div_ceil(1_000)
    }
}

/// A rectangle for text, in dots.
#[derive(Debug, Clone, Copy)]
struct Region {
    left: u32,
    top: u32,
    width: u32,
    height: u32,
}

/// The best arrangement; `None` if not even the required paragraphs fit.
pub(super) fn arranged(
    size: LabelSize,
    dots: Dots,
    across: u32,
    paragraphs: &[Paragraph],
) -> Option<Layout> {
    let modules = dots.at_least(LEAST_MODULE)..=dots.of(LARGEST_MODULE);
    let all = modules.flat_map(|module| {
        [
            beside(size, dots, across, module),
            above(size, dots, across, module),
        ]
    });
    let all = all.flatten();
    let all = all.flat_map(|arranged| BANDS.map(|band| (arranged, band)));
    let fitting = all.filter_map(|((code, region), band)| {
        let (lines, left_out) = set(paragraphs, region, (dots, band))?;
        let layout = Layout {
            width: size.width * dots.0,
            height: size.height * dots.0,
            code,
            lines,
            region: (region.left, region.width),
            left_out,
        };
        Some((layout, band))
    });
    let best = fitting.max_by_key(|(layout, band)| {
        let (_, _, module) = layout.code;
        let is_good = module >= dots.at_least(GOOD_MODULE);
        (
            is_good,
            std::cmp::Reverse(layout.left_out.len()),
            module,
            *band,
        )
    });
    best.map(|(layout, _)| layout)
}

/// The smallest label near this size that fits; `None` if none does.
pub(super) fn smallest(
    size: LabelSize,
    dots: Dots,
    across: u32,
    paragraphs: &[Paragraph],
) -> Option<LabelSize> {
    let LabelSize { width, height } = size;
    let sizes = (1..LARGEST).flat_map(|more| {
        let (wide, high) = (width + more, height + more);
        [(width, high), (wide, height), (wide, high)]
    });
    let sizes = sizes.map(|(width, height)| LabelSize { width, height });
    let mut sizes = sizes.filter(|size| size.width <= LARGEST && size.height <= LARGEST);
    sizes.find(|size| arranged(*size, dots, across, paragraphs).is_some())
}

type Arranged = ((u32, u32, u32), Region);

/// The code at the left, in the middle of the height.
fn beside(size: LabelSize, dots: Dots, across: u32, module: u32) -> Option<Arranged> {
    let (width, height) = (size.width * dots.0, size.height * dots.0);
    let (code, margin) = (across * module, dots.of(MARGIN));
    let top = height.checked_sub(code)? / 2;
    let region = Region {
        left: code,
        top: margin,
        width: width.checked_sub(code + margin)?,
        height: height.checked_sub(2 * margin)?,
    };
    Some(((0, top, module), region))
}

/// The code above the text, in the middle of the width.
fn above(size: LabelSize, dots: Dots, across: u32, module: u32) -> Option<Arranged> {
    let (width, height) = (size.width * dots.0, size.height * dots.0);
    let (code, margin) = (across * module, dots.of(MARGIN));
    let left = width.checked_sub(code)? / 2;
    let region = Region {
        left: margin,
        top: code,
        width: width.checked_sub(2 * margin)?,
        height: height.checked_sub(code + margin)?,
    };
    Some(((left, 0, module), region))
}

/// The lines in the region, the outcome's letters at most this high, and the names of the paragraphs that were left out for them.
fn set(
    paragraphs: &[Paragraph],
    region: Region,
    dots: (Dots, u32),
) -> Option<(Vec<Placed>, Vec<&'static str>)> {
    let mut kept: Vec<&Paragraph> = paragraphs.iter().collect();
    let mut left_out = Vec::new();
    loop {
        if let Some(lines) = lines(&kept, region, dots) {
            return Some((lines, left_out));
        }
        let least = kept.iter().filter(|one| one.name.is_some());
        let rank = least.map(|one| one.rank).max()?;
        let at = kept
            .iter()
            .position(|one| one.name.is_some() && one.rank == rank)?;
        left_out.extend(kept.remove(at).name);
    }
}

/// The lines of these paragraphs; `None` if they are too many for the region.
fn lines(kept: &[&Paragraph], region: Region, (dots, largest): (Dots, u32)) -> Option<Vec<Placed>> {
    let mut lines = Vec::new();
    let mut y = region.top;
    for paragraph in kept {
        let (size, pitch) = match paragraph.style {
            Style::Band { inverse } => {
                let (line, below) = band(&paragraph.text, inverse, region, y, (dots, largest))?;
                lines.push(line);
                y = below;
                continue;
            }
            Style::Title => (dots.of(TITLE.0), dots.of(TITLE.1)),
            Style::Small | Style::Strong => (dots.of(SMALL.0), dots.of(SMALL.1)),
        };
        let letters = region.width * 1_000 / (size * ADVANCE);
        if letters < FEWEST_LETTERS {
            return None;
        }
        for text in wrapped(&paragraph.text, usize::try_from(letters).ok()?) {
            lines.push(Placed {
                x: region.left,
                baseline: y + size * 4 / 5,
                size,
                width: advance(&text, size)?,
                band: None,
                style: paragraph.style,
                text,
            });
            y += pitch;
        }
    }
    (y <= region.top + region.height).then_some(lines)
}

/// The outcome in its box, and where the next line begins.
fn band(
    text: &str,
    inverse: bool,
    region: Region,
    top: u32,
    (dots, largest): (Dots, u32),
) -> Option<(Placed, u32)> {
    let letters = u32::try_from(text.chars().count()).ok()?;
    // One letter's width of margin, half of it on each side.
    let widest = region.width * 1_000 / ((letters + 1) * ADVANCE);
    let size = dots.of(largest).min(widest);
    if size < dots.of(LEAST_BAND) {
        return None;
    }
    let height = size * 5 / 4;
    let width = advance(text, size)?;
    let line = Placed {
        text: text.to_owned(),
        x: region.left + (region.width - width) / 2,
        baseline: top + size,
        size,
        width,
        band: Some((top, height, inverse)),
        style: Style::Band { inverse },
    };
    Some((line, top + height + dots.of(500)))
}

fn advance(text: &str, size: u32) -> Option<u32> {
    let letters = u32::try_from(text.chars().count()).ok()?;
    Some(letters * size * ADVANCE / 1_000)
}

/// Lines of at most this many letters, broken at blanks where that is possible.
fn wrapped(text: &str, most: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    for word in text.split(' ').filter(|word| !word.is_empty()) {
        let long = line.chars().count() + usize::from(!line.is_empty()) + word.chars().count();
        if !line.is_empty() && long > most {
            lines.push(std::mem::take(&mut line));
        }
        if !line.is_empty() {
            line.push(' ');
        }
        for letter in word.chars() {
            if line.chars().count() == most {
                lines.push(std::mem::take(&mut line));
            }
            line.push(letter);
        }
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn paragraphs(text: &str) -> Vec<Paragraph> {
        let one = |text: &str, style, name, rank| Paragraph {
            text: text.to_owned(),
            style,
            name,
            rank,
        };
        vec![
            one("Hof-Werkstatt", Style::Small, Some("shop"), 7),
            one("Series 37", Style::Title, None, 0),
            one("STOPPED EARLY", Style::Band { inverse: true }, None, 0),
            one(text, Style::Small, Some("item"), 2),
        ]
    }

    proptest! {
        #[test]
        fn everything_is_on_the_label_and_nothing_overlaps(width in 10_u32..120, height in 8_u32..120, dots in prop::sample::select(vec![8_u32, 12, 24]), text in "[a-z ]{0,80}") {
            let size = LabelSize { width, height };
            let across = 45;
            let Some(layout) = arranged(size, Dots(dots), across, &paragraphs(&text)) else {
                let larger = smallest(size, Dots(dots), across, &paragraphs(&text)).unwrap();
                prop_assert!(larger.width >= width && larger.height >= height);
                return Ok(());
            };
            let (left, top, module) = layout.code;
            prop_assert!(module * 1_000 >= 250 * dots);
            prop_assert!(left + across * module <= layout.width && top + across * module <= layout.height);
            let is_beside = left == 0 && layout.region.0 >= across * module;
            for line in &layout.lines {
                prop_assert!(line.x >= layout.region.0);
                prop_assert!(line.x + line.width <= layout.width);
                prop_assert!(line.baseline < layout.height);
                prop_assert!(is_beside || line.baseline > line.size / 2 + across * module);
            }
            let mut lines = layout.lines.iter().zip(layout.lines.iter().skip(1));
            prop_assert!(lines.all(|(one, next)| one.baseline < next.baseline));
            let words: usize = layout.lines.iter().map(|line| line.text.replace(' ', "").len()).sum();
            let kept: usize = paragraphs(&text).iter().filter(|one| one.name.is_none_or(|name| !layout.left_out.contains(&name))).map(|one| one.text.replace(' ', "").len()).sum();
            prop_assert_eq!(words, kept, "no letter is lost");
        }

        #[test]
        fn a_line_is_never_longer_than_the_room(text in "\\PC{0,60}", most in 10_usize..40) {
            let lines = wrapped(&text, most);
            prop_assert!(lines.iter().all(|line| line.chars().count() <= most), "{lines:?}");
        }
    }

    #[test]
    fn a_size_is_two_numbers_of_millimetres() {
        assert_eq!(
            "62x29".parse(),
            Ok(LabelSize {
                width: 62,
                height: 29
            })
        );
        for wrong in ["62", "62x", "0x29", "62x29mm", "1000x20", "-3x4"] {
            assert!(wrong.parse::<LabelSize>().is_err(), "{wrong}");
        }
    }
}
