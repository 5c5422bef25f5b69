//! Takes the bytes that wait in a port when it is opened, up to a silence after which a frame begins.

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::io::Errno;
use rustix::termios::QueueSelector;
use std::os::fd::OwnedFd;
use std::time::{Duration, Instant};

const READ: usize = 4096;

/// Maximum number of stale bytes that are kept; the terminal discards more.
const MOST_STALE: usize = 64 * 1024;

/// Takes waiting bytes, and bytes that come before a silence of length `quiet`, so that nothing older than the opening
/// is judged. Also returns whether no such silence was seen.
pub(super) fn take_stale(
    handle: &OwnedFd,
    quiet: Duration,
    longest: Duration,
) -> Result<(Vec<u8>, bool), Errno> {
    let until = Instant::now() + longest;
    let mut stale = Vec::new();
    let mut buffer = [0; READ];
    while stale.len() < MOST_STALE {
        match rustix::io::read(handle, &mut buffer) {
            // The end. The first read of the port will report it.
            Ok(0) | Err(Errno::IO) => return Ok((stale, false)),
            Ok(count) => stale.extend_from_slice(buffer.get(..count).unwrap_or_default()),
            Err(Errno::AGAIN) => {
                if is_silent(handle, quiet)? {
                    return Ok((stale, false));
                }
            }
            Err(Errno::INTR) => {}
            Err(errno) => return Err(errno),
        }
        if Instant::now() >= until {
            return Ok((stale, true));
        }
    }
    match rustix::termios::tcflush(handle, QueueSelector::IFlush) {
        Ok(()) | Err(Errno::IO) => Ok((stale, true)),
        Err(errno) => Err(errno),
    }
}

/// Whether nothing comes for the time `quiet`.
fn is_silent(handle: &OwnedFd, quiet: Duration) -> Result<bool, Errno> {
    let timeout = Timespec::try_from(quiet).map_err(|_| Errno::INVAL)?;
    let begun = Instant::now();
    match poll(&mut [PollFd::new(handle, PollFlags::IN)], Some(&timeout)) {
        // With a long delay the whole computer may have stood still, so an adapter may still have bytes.
        Ok(0) => Ok(begun.elapsed() < quiet.saturating_mul(3)),
        Ok(_) | Err(Errno::INTR) => Ok(false),
        Err(errno) => Err(errno),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rustix::fs::{Mode, OFlags};
    use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
    use rustix::termios::OptionalActions;

    /// The instrument's end of a raw terminal, and ours.
    fn line() -> (OwnedFd, OwnedFd) {
        let near = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
        grantpt(&near).unwrap();
        unlockpt(&near).unwrap();
        let path = ptsname(&near, Vec::new()).unwrap();
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::NONBLOCK;
        let far = rustix::fs::open(path, flags, Mode::empty()).unwrap();
        let mut settings = rustix::termios::tcgetattr(&far).unwrap();
        settings.make_raw();
        rustix::termios::tcsetattr(&far, OptionalActions::Now, &settings).unwrap();
        (near, far)
    }

    fn wait_for_bytes(port: &OwnedFd, least: u64) {
        while rustix::io::ioctl_fionread(port).unwrap() < least {
            std::thread::yield_now();
        }
    }

    fn wait_for_reader(port: &OwnedFd) {
        while rustix::io::ioctl_fionread(port).unwrap() > 0 {
            std::thread::yield_now();
        }
    }

    #[test]
    fn a_frame_that_is_on_its_way_at_the_opening_is_stale_to_its_end() {
        let (near, far) = line();
        rustix::io::write(&near, b"+1").unwrap();
        wait_for_bytes(&far, 2);
        let port = far.try_clone().unwrap();
        let rest = std::thread::spawn(move || {
            wait_for_reader(&port);
            rustix::io::write(&near, b"1.62\r").unwrap();
            near
        });
        let (quiet, longest) = (Duration::from_secs(2), Duration::from_secs(30));
        assert_eq!(
            take_stale(&far, quiet, longest),
            Ok((b"+11.62\r".to_vec(), false))
        );
        rest.join().unwrap();
    }

    #[test]
    fn an_instrument_that_never_stops_sending_does_not_hold_up_its_opening() {
        let (near, far) = line();
        rustix::io::write(&near, b"+1.62\r").unwrap();
        let (stop, stopped) = std::sync::mpsc::channel::<()>();
        let sending = std::thread::spawn(move || {
            while stopped.try_recv() == Err(std::sync::mpsc::TryRecvError::Empty) {
                let _ = rustix::io::write(&near, b"+1.62\r");
                std::thread::sleep(Duration::from_millis(1));
            }
        });
        wait_for_bytes(&far, 1);
        let quiet = Duration::from_secs(3600);
        let (stale, out_of_step) = take_stale(&far, quiet, Duration::from_millis(100)).unwrap();
        assert!(!stale.is_empty());
        assert!(out_of_step, "what comes next may be the rest of a frame");
        drop(stop);
        sending.join().unwrap();
    }

    #[test]
    fn a_port_is_quiet_when_a_silence_was_seen_and_not_before() {
        let (near, far) = line();
        let hour = Duration::from_secs(3600);
        let silence = Duration::from_millis(20);
        assert_eq!(take_stale(&far, silence, hour), Ok((Vec::new(), false)));
        rustix::io::write(&near, b"+1").unwrap();
        wait_for_bytes(&far, 2);
        assert_eq!(
            take_stale(&far, hour, Duration::ZERO),
            Ok((b"+1".to_vec(), true))
        );
    }
}
