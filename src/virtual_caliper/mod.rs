//! A virtual caliper on a pseudo-terminal, for the demo and for tests.
//!
//! In: sizes and mishaps. Out: bytes on a real terminal, which the daemon opens like any port.
//!
//! - The path of the port survives [`VirtualCaliper::unplug`] and [`VirtualCaliper::plug`]. It is a symbolic link that
//!   is gone while nothing is plugged in, like the device file of a real adapter.
//! - A write never hangs. If nobody reads and the buffers are full it fails after a second.
//! - Random sizes come from a seed, so that the same seed gives the same job.
#![expect(
    clippy::disallowed_methods,
    reason = "edge: a pseudo-terminal and how long nobody reads it are the world"
)]

mod frame;
mod hand;
pub mod line;
mod motion;
mod playing;
mod random;

pub use frame::{Form, NoFrame, Resolution, Sends};
pub use hand::{CrimpTool, Hand, ToolOnBench};
pub use motion::{Battery, Display, Frame, Motion, stream};
pub use playing::Answer;

use crate::quantity::{Decimal, Quantity, Unit};
use random::Random;
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fs::{Mode, OFlags};
use rustix::io::Errno;
use rustix::pty::OpenptFlags;
use rustix::termios::OptionalActions;
use std::fs;
use std::io;
use std::os::fd::OwnedFd;
use std::os::unix::ffi::OsStringExt;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::{Duration, Instant};

/// Interval of the checks whether bytes were read.
const DRAIN_LOOK: Duration = Duration::from_millis(2);

/// The kernel moves bytes to the far end in its own time, and meanwhile counts them at neither end. So the line counts
/// as empty only after this number of checks in a row (a tenth of a second).
const DRAIN_EMPTY_LOOKS: u32 = 50;

/// Time that a write waits for a reader.
const WRITE_PATIENCE: Duration = Duration::from_secs(1);

/// A caliper or force gauge on a pseudo-terminal: it sends a number at each press.
///
/// ```
/// use tallyjaw::quantity::{Decimal, Unit};
/// use tallyjaw::virtual_caliper::VirtualCaliper;
/// let mut caliper = VirtualCaliper::open()?;
/// println!("a caliper is at {}", caliper.path().display());
/// caliper.zero()?; // sends `+0.00` and CR
/// caliper.press(Decimal::new(163, 2), Unit::Millimetre)?; // sends `+1.63` and CR
/// caliper.unplug(); // the port is gone
/// caliper.plug()?; // and back at the same path
/// # Ok::<_, std::io::Error>(())
/// ```
#[derive(Debug)]
pub struct VirtualCaliper {
    link: PathBuf,
    own_folder: Option<PathBuf>,
    line: Option<Line>,
    sends: Sends,
    resolution: Resolution,
    origin_steps: i64,
    last_frame: Vec<u8>,
    random: Random,
}

/// The two ends of a pseudo-terminal. The far end is kept open here too, because a terminal that nobody has open
/// returns to echoing and editing lines.
#[derive(Debug)]
struct Line {
    near: OwnedFd,
    far: OwnedFd,
    far_path: PathBuf,
}

impl VirtualCaliper {
    /// Plugs a caliper in, at a path of its own in the folder for temporary files.
    pub fn open() -> io::Result<Self> {
        static COUNT: AtomicU32 = AtomicU32::new(0);
        let number = COUNT.fetch_add(1, Ordering::Relaxed);
        let folder =
            std::env::temp_dir().join(format!("tallyjaw-port-{}-{number}", std::process::id()));
        // Left by a killed process with our id.
        let _ = fs::remove_dir_all(&folder);
        fs::create_dir(&folder)?;
        let mut caliper = Self::open_at(folder.join("caliper"))?;
        caliper.own_folder = Some(folder);
        Ok(caliper)
    }

    /// Plugs a caliper in at `link`, which must not exist yet or be a symbolic link.
    pub fn open_at(link: impl Into<PathBuf>) -> io::Result<Self> {
        let mut caliper = Self {
            link: link.into(),
            own_folder: None,
            line: None,
            sends: Sends::DecimalLine { with_unit: false },
            resolution: Resolution::HUNDREDTH_MM,
            origin_steps: 0,
            last_frame: b"+0.00\r".to_vec(),
            random: Random::new(0),
        };
        caliper.plug()?;
        Ok(caliper)
    }

    /// Sets the frame format.
    #[must_use]
    pub fn sending(mut self, sends: Sends) -> Self {
        self.sends = sends;
        self
    }

    /// Sets the resolution of the display.
    #[must_use]
    pub fn showing(mut self, resolution: Resolution) -> Self {
        self.resolution = resolution;
        self
    }

    /// Path of the port while it is plugged in.
    pub fn path(&self) -> &Path {
        &self.link
    }

    /// The terminal behind the path; `None` while unplugged.
    pub fn terminal(&self) -> Option<&Path> {
        self.line.as_ref().map(|line| line.far_path.as_path())
    }

    /// Sends exactly this value.
    pub fn press(&mut self, digits: Decimal, unit: Unit) -> io::Result<()> {
        self.last_frame = self.frame(digits, unit)?;
        self.send(&self.last_frame)
    }

    /// Sends what the display shows for this size: the nearest step, plus the error of the origin. Returns the digits
    /// sent.
    pub fn measure(&mut self, size: Quantity) -> io::Result<Decimal> {
        let steps = self.steps_in(size)?.saturating_add(self.origin_steps);
        self.show(steps)
    }

    /// Closes the jaws and presses: sends zero, plus the error of the origin. Returns the digits sent.
    pub fn zero(&mut self) -> io::Result<Decimal> {
        self.show(self.origin_steps)
    }

    /// Moves the origin (a knock, dirt between the jaws). Every later size is wrong by this until
    /// [`VirtualCaliper::set_origin`].
    pub fn slip_origin(&mut self, steps: i64) {
        self.origin_steps = steps;
    }

    /// Cleans and closes the jaws and presses the zero key. Sends nothing.
    pub fn set_origin(&mut self) {
        self.origin_steps = 0;
    }

    /// Sends the last frame again `times` times without a pause, as a bouncing key does.
    pub fn bounce(&mut self, times: usize) -> io::Result<()> {
        self.send(&self.last_frame.repeat(times))
    }

    /// Sends the first half of the frame for this value.
    pub fn half_frame(&mut self, digits: Decimal, unit: Unit) -> io::Result<()> {
        let frame = self.frame(digits, unit)?;
        let (half, _) = frame.split_at(frame.len() / 2);
        self.send(half)
    }

    /// Sends `count` arbitrary bytes, the same in every run.
    pub fn noise(&mut self, count: usize) -> io::Result<()> {
        let bytes: Vec<u8> = (0..count)
            .map(|_| self.random.next().to_le_bytes()[0])
            .collect();
        self.send(&bytes)
    }

    /// Sends these bytes unchanged.
    ///
    /// Fails with `WouldBlock` if nobody has read for a second and the buffers are full (some bytes may have been
    /// sent), and with `NotConnected` while unplugged.
    pub fn send(&self, bytes: &[u8]) -> io::Result<()> {
        let Some(line) = &self.line else {
            return Err(unplugged());
        };
        line.write(bytes)
    }

    /// Waits until everything sent was read, at most for `patience`. Unread bytes are lost when the plug is pulled.
    pub fn drain(&self, patience: Duration) {
        let until = Instant::now() + patience;
        let mut empty_looks = 0;
        while empty_looks < DRAIN_EMPTY_LOOKS && Instant::now() < until {
            std::thread::sleep(DRAIN_LOOK);
            let holds = self.line.as_ref().is_some_and(Line::holds_bytes);
            empty_looks = if holds { 0 } else { empty_looks + 1 };
        }
    }

    /// Bytes that were sent to the instrument: the first ones within `patience`, and those that came with them. Empty
    /// if nothing comes.
    ///
    /// Fails with `NotConnected` while unplugged.
    pub fn received(&self, patience: Duration) -> io::Result<Vec<u8>> {
        let Some(line) = &self.line else {
            return Err(unplugged());
        };
        line.read(patience)
    }

    /// Pulls the plug. A program that has the port open sees its end, and the path is gone. Unread bytes are lost, as
    /// with a real adapter.
    pub fn unplug(&mut self) {
        if self.line.take().is_some() {
            let _ = fs::remove_file(&self.link);
        }
    }

    /// Plugs it in again at the same path, on another terminal. Does nothing if it is plugged in.
    pub fn plug(&mut self) -> io::Result<()> {
        if self.line.is_some() {
            return Ok(());
        }
        let line = Line::open()?;
        point(&self.link, &line.far_path)?;
        self.line = Some(line);
        Ok(())
    }

    fn frame(&self, digits: Decimal, unit: Unit) -> io::Result<Vec<u8>> {
        let frame = self.sends.frame(digits, unit);
        frame.map_err(|error| io::Error::new(io::ErrorKind::InvalidInput, error))
    }

    fn show(&mut self, steps: i64) -> io::Result<Decimal> {
        let digits = self.resolution.show(steps);
        self.press(digits, self.resolution.unit)?;
        Ok(digits)
    }

    fn steps_in(&self, size: Quantity) -> io::Result<i64> {
        let Resolution { step, unit } = self.resolution;
        let step = Quantity::of(step, unit)
            .filter(|step| step.dimension() == size.dimension() && step.base() > 0)
            .ok_or_else(|| {
                io::Error::new(
                    io::ErrorKind::InvalidInput,
                    format!("got a {}, this instrument shows {unit}", size.dimension()),
                )
            })?;
        let half = step.base() / 2;
        let away_from_zero = if size.base() < 0 { -half } else { half };
        Ok(size.base().saturating_add(away_from_zero) / step.base())
    }
}

impl Drop for VirtualCaliper {
    fn drop(&mut self) {
        self.unplug();
        if let Some(folder) = &self.own_folder {
            let _ = fs::remove_dir_all(folder);
        }
    }
}

impl Line {
    fn open() -> io::Result<Self> {
        let near =
            rustix::pty::openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC)?;
        rustix::pty::grantpt(&near)?;
        rustix::pty::unlockpt(&near)?;
        let name = rustix::pty::ptsname(&near, Vec::new())?.into_bytes();
        let far_path = PathBuf::from(std::ffi::OsString::from_vec(name));
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC;
        let far = rustix::fs::open(&far_path, flags, Mode::empty())?;
        let mut settings = rustix::termios::tcgetattr(&far)?;
        settings.make_raw();
        rustix::termios::tcsetattr(&far, OptionalActions::Now, &settings)?;
        rustix::fs::fcntl_setfl(&near, OFlags::NONBLOCK)?;
        Ok(Self {
            near,
            far,
            far_path,
        })
    }

    fn write(&self, mut bytes: &[u8]) -> io::Result<()> {
        let until = Instant::now() + WRITE_PATIENCE;
        while !bytes.is_empty() {
            match rustix::io::write(&self.near, bytes) {
                Ok(written) => bytes = bytes.get(written..).unwrap_or_default(),
                Err(Errno::INTR) => {}
                Err(Errno::AGAIN) => self.wait_for_room(until)?,
                Err(error) => return Err(error.into()),
            }
        }
        Ok(())
    }

    /// Whether bytes wait to be read at the far end.
    fn holds_bytes(&self) -> bool {
        rustix::io::ioctl_fionread(&self.far).is_ok_and(|count| count > 0)
    }

    fn read(&self, patience: Duration) -> io::Result<Vec<u8>> {
        let until = Instant::now() + patience;
        let (mut all, mut buffer) = (Vec::new(), [0; 4096]);
        loop {
            match rustix::io::read(&self.near, &mut buffer) {
                Ok(count) => all.extend_from_slice(buffer.get(..count).unwrap_or_default()),
                Err(Errno::AGAIN) if all.is_empty() => {
                    if !self.wait_for(PollFlags::IN, until)? {
                        return Ok(all);
                    }
                }
                Err(Errno::AGAIN) => return Ok(all),
                Err(Errno::INTR) => {}
                Err(error) => return Err(error.into()),
            }
        }
    }

    /// Whether the condition became true in time.
    fn wait_for(&self, what: PollFlags, until: Instant) -> io::Result<bool> {
        loop {
            let left = until.saturating_duration_since(Instant::now());
            let timeout = Timespec::try_from(left).map_err(|_| io::ErrorKind::InvalidInput)?;
            match poll(&mut [PollFd::new(&self.near, what)], Some(&timeout)) {
                Ok(ready) => return Ok(ready > 0),
                Err(Errno::INTR) => {}
                Err(error) => return Err(error.into()),
            }
        }
    }

    fn wait_for_room(&self, until: Instant) -> io::Result<()> {
        if self.wait_for(PollFlags::OUT, until)? {
            return Ok(());
        }
        Err(io::Error::new(
            io::ErrorKind::WouldBlock,
            "nobody reads the virtual caliper",
        ))
    }
}

fn unplugged() -> io::Error {
    io::Error::new(
        io::ErrorKind::NotConnected,
        "the virtual caliper is unplugged",
    )
}

/// Makes `link` point to `target` in one step, so that it is never missing.
fn point(link: &Path, target: &Path) -> io::Result<()> {
    match fs::symlink_metadata(link) {
        Ok(found) if !found.is_symlink() => {
            return Err(io::Error::new(
                io::ErrorKind::AlreadyExists,
                format!("{} exists and is not a symbolic link", link.display()),
            ));
        }
        Ok(_) | Err(_) => {}
    }
    let mut beside = link.as_os_str().to_owned();
    beside.push(".new");
    let _ = fs::remove_file(&beside);
    std::os::unix::fs::symlink(target, &beside)?;
    fs::rename(&beside, link)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Length;

    /// All bytes that were sent and not read yet.
    fn sent(caliper: &VirtualCaliper) -> String {
        let flags = OFlags::RDONLY | OFlags::NOCTTY | OFlags::NONBLOCK | OFlags::CLOEXEC;
        let port = rustix::fs::open(caliper.path(), flags, Mode::empty()).unwrap();
        let (mut all, mut buffer) = (Vec::new(), [0; 4096]);
        while let Ok(count) = rustix::io::read(&port, &mut buffer) {
            all.extend_from_slice(&buffer[..count]);
        }
        String::from_utf8(all).unwrap()
    }

    fn mm(nanometres: i64) -> Quantity {
        Quantity::Length(Length::from_nanometres(nanometres))
    }

    #[test]
    fn a_size_is_shown_to_the_nearest_step() {
        let mut caliper = VirtualCaliper::open().unwrap();
        for size in [1_624_999, 1_625_000, -24_999, 4_999] {
            caliper.measure(mm(size)).unwrap();
        }
        assert_eq!(sent(&caliper), "+1.62\r+1.63\r-0.02\r+0.00\r");
        let sends = Sends::DecimalLine { with_unit: true };
        let mut inches = VirtualCaliper::open()
            .unwrap()
            .sending(sends)
            .showing(Resolution::HALF_THOU);
        inches.measure(mm(1_620_000)).unwrap(); // 0.06378 in
        assert_eq!(sent(&inches), "+0.0640in\r");
    }

    #[test]
    fn an_origin_that_slipped_shifts_every_size_until_it_is_set() {
        let mut caliper = VirtualCaliper::open()
            .unwrap()
            .sending(Sends::ChannelLine { channel: 1 });
        caliper.slip_origin(-3);
        caliper.zero().unwrap();
        caliper.measure(mm(1_620_000)).unwrap();
        caliper.set_origin();
        caliper.zero().unwrap();
        caliper.measure(mm(1_620_000)).unwrap();
        caliper.bounce(2).unwrap();
        assert_eq!(
            sent(&caliper),
            "01A-0.03\r01A+1.59\r01A+0.00\r01A+1.62\r01A+1.62\r01A+1.62\r"
        );
    }

    #[test]
    fn a_force_is_not_shown_by_a_caliper() {
        let mut caliper = VirtualCaliper::open().unwrap();
        let force = Quantity::from_base(crate::quantity::Dimension::Force, 180_000);
        let error = caliper.measure(force).unwrap_err();
        assert_eq!(error.to_string(), "got a force, this instrument shows mm");
    }

    #[test]
    fn the_path_is_gone_while_unplugged_and_is_the_same_afterwards() {
        let mut caliper = VirtualCaliper::open().unwrap();
        let path = caliper.path().to_owned();
        caliper.unplug();
        assert!(fs::symlink_metadata(&path).is_err());
        let error = caliper.zero().unwrap_err();
        assert_eq!(error.kind(), io::ErrorKind::NotConnected);
        caliper.plug().unwrap();
        caliper.zero().unwrap();
        assert_eq!(sent(&caliper), "+0.00\r");
        drop(caliper);
        assert!(!path.parent().unwrap().exists(), "the folder stays behind");
    }

    #[test]
    fn a_file_in_the_way_is_not_replaced() {
        let file = tempfile::NamedTempFile::new().unwrap();
        let error = VirtualCaliper::open_at(file.path()).unwrap_err();
        assert_eq!(error.kind(), io::ErrorKind::AlreadyExists);
    }
}
