//! Changes speed, DTR and RTS of an open port, so that `listen` can try settings without opening it again.

use super::marks::PortMarks;
use super::port::Port;
use std::io;
use tokio_serial::{ClearBuffer, SerialPort};

impl Port {
    /// Reads at this speed from now on. Unread bytes at the old speed are discarded.
    pub fn set_speed(&mut self, baud: u32) -> io::Result<()> {
        self.stream.set_baud_rate(baud)?;
        self.marks = PortMarks::new(self.marks.far_end_marks());
        self.runs.clear();
        Ok(self.stream.clear(ClearBuffer::Input)?)
    }

    /// Raises (`true`) or drops DTR and RTS. `false` if the port has no such lines, as a pseudo-terminal.
    pub fn set_lines(&mut self, dtr: bool, rts: bool) -> bool {
        let dtr = self.stream.write_data_terminal_ready(dtr);
        let rts = self.stream.write_request_to_send(rts);
        dtr.is_ok() && rts.is_ok()
    }
}
