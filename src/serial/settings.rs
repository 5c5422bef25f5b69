//! Converts line settings between our form, the crate's and a terminal's.

use crate::config::{LineSettings, Parity};
use rustix::termios::{ControlModes, Termios};

/// The line settings of a terminal.
pub(super) fn settings_of(termios: &Termios) -> LineSettings {
    let modes = termios.control_modes;
    let size = modes & ControlModes::CSIZE;
    let data_bits = if size == ControlModes::CS5 {
        5
    } else if size == ControlModes::CS6 {
        6
    } else if size == ControlModes::CS7 {
        7
    } else {
        8
    };
    let parity = match (
        modes.contains(ControlModes::PARENB),
        modes.contains(ControlModes::PARODD),
    ) {
        (false, _) => Parity::None,
        (true, false) => Parity::Even,
        (true, true) => Parity::Odd,
    };
    LineSettings {
        baud: termios.input_speed(),
        data_bits,
        parity,
        stop_bits: 1 + u8::from(modes.contains(ControlModes::CSTOPB)),
    }
}

pub(super) fn data_bits(line: LineSettings) -> tokio_serial::DataBits {
    match line.data_bits {
        5 => tokio_serial::DataBits::Five,
        6 => tokio_serial::DataBits::Six,
        7 => tokio_serial::DataBits::Seven,
        _ => tokio_serial::DataBits::Eight,
    }
}

pub(super) fn parity(line: LineSettings) -> tokio_serial::Parity {
    match line.parity {
        Parity::None => tokio_serial::Parity::None,
        Parity::Even => tokio_serial::Parity::Even,
        Parity::Odd => tokio_serial::Parity::Odd,
    }
}

pub(super) fn stop_bits(line: LineSettings) -> tokio_serial::StopBits {
    match line.stop_bits {
        2 => tokio_serial::StopBits::Two,
        _ => tokio_serial::StopBits::One,
    }
}
