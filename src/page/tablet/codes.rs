//! Pairing codes: each pairs one device, once, within ten minutes.
//!
//! A code has 80 random bits, and only ten wrong ones a minute are checked for a device, so a code cannot be guessed.
//! For the same reason a wrong code does not withdraw a valid one: nobody can prevent a pairing by guessing.

use crate::durable::secret;
use std::collections::HashMap;
use std::io;
use std::net::{IpAddr, Ipv6Addr};
use std::time::Duration;
use tokio::time::Instant;

/// Time for which a code is valid.
pub const CODE_LASTS: Duration = Duration::from_secs(600);

/// Maximum number of codes that are valid at the same time.
const MOST_CODES: usize = 8;

/// Maximum number of wrong codes of one device that are checked, and the time in which they are counted.
const MOST_WRONG: u32 = 10;
const WITHIN: Duration = Duration::from_secs(60);

/// Maximum number of devices whose wrong codes are counted at the same time; further devices must wait.
const MOST_DEVICES: usize = 256;

/// The digits of Crockford's base 32, none of which is mistaken for another one.
const DIGITS: [char; 32] = [
    '0', '1', '2', '3', '4', '5', '6', '7', '8', '9', 'A', 'B', 'C', 'D', 'E', 'F', 'G', 'H', 'J',
    'K', 'M', 'N', 'P', 'Q', 'R', 'S', 'T', 'V', 'W', 'X', 'Y', 'Z',
];

/// Why a code does not pair a device.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::page) enum Denied {
    /// The code does not exist, was used, or has expired; which of these is not said.
    Wrong,
    /// The device has sent too many wrong codes.
    TooMany,
}

#[derive(Debug)]
struct Code {
    text: String,
    tablet: String,
    until: Instant,
}

/// The codes that are valid now.
#[derive(Debug, Default)]
pub(super) struct Codes {
    open: Vec<Code>,
    wrong: HashMap<IpAddr, (u32, Instant)>,
}

impl Codes {
    /// A new code for a tablet; an earlier code for it becomes invalid. `None` if there are too many codes.
    pub(super) fn make(
        &mut self,
        tablet: &str,
        now: Instant,
        lasts: Duration,
    ) -> io::Result<Option<String>> {
        self.forget(now);
        self.open.retain(|code| code.tablet != tablet);
        if self.open.len() >= MOST_CODES {
            return Ok(None);
        }
        let bytes: [u8; 16] = secret::random()?;
        // Five bits of each byte, so that every digit is equally likely.
        let digit = |byte: &u8| DIGITS.get(usize::from(byte & 31)).copied();
        let text: String = bytes.iter().filter_map(digit).collect();
        self.open.push(Code {
            text: text.clone(),
            tablet: tablet.to_owned(),
            until: now + lasts,
        });
        Ok(Some(text))
    }

    /// The names for which there are unused codes.
    pub(super) fn names(&mut self, now: Instant) -> Vec<String> {
        self.forget(now);
        self.open.iter().map(|code| code.tablet.clone()).collect()
    }

    /// Withdraws the code of this tablet, so that the tablet cannot be paired with it.
    pub(super) fn withdraw(&mut self, tablet: &str) -> bool {
        let before = self.open.len();
        self.open.retain(|code| code.tablet != tablet);
        self.open.len() < before
    }

    /// Uses up a code. Returns the name for the device.
    pub(super) fn redeem(
        &mut self,
        said: &str,
        from: IpAddr,
        now: Instant,
    ) -> Result<String, Denied> {
        self.forget(now);
        let from = network(from);
        let tried = self.wrong.get(&from).map_or(0, |(count, _)| *count);
        let no_room = tried == 0 && self.wrong.len() >= MOST_DEVICES;
        if tried >= MOST_WRONG || no_room {
            return Err(Denied::TooMany);
        }
        let said = as_meant(said);
        let found = self.open.iter().position(|code| is_same(&code.text, &said));
        if let Some(at) = found {
            return Ok(self.open.swap_remove(at).tablet);
        }
        let since = self.wrong.get(&from).map_or(now, |(_, since)| *since);
        self.wrong.insert(from, (tried + 1, since));
        Err(Denied::Wrong)
    }

    fn forget(&mut self, now: Instant) {
        self.open.retain(|code| now < code.until);
        self.wrong.retain(|_, (_, since)| now < *since + WITHIN);
    }
}

/// The network of a device. With IPv6 a device can have any number of addresses, but one network.
pub(super) fn network(ip: IpAddr) -> IpAddr {
    match ip.to_canonical() {
        IpAddr::V4(ip) => ip.into(),
        IpAddr::V6(ip) => {
            let [a, b, c, d, ..] = ip.segments();
            Ipv6Addr::new(a, b, c, d, 0, 0, 0, 0).into()
        }
    }
}

/// The code as it was meant: a person may have typed small letters, spaces, hyphens, or letters that look like digits.
fn as_meant(said: &str) -> String {
    let digits = said.chars().filter(|c| !matches!(c, '-' | ' '));
    digits
        .take(32)
        .map(|c| match c.to_ascii_uppercase() {
            'O' => '0',
            'I' | 'L' => '1',
            other => other,
        })
        .collect()
}

/// Compares two texts in a time that does not depend on where they differ.
fn is_same(one: &str, other: &str) -> bool {
    let pairs = one.bytes().zip(other.bytes());
    one.len() == other.len() && pairs.fold(0, |differs, (one, other)| differs | (one ^ other)) == 0
}

/// The code in groups, for typing: `K7QP-3MX2-ABCD-EFGH`.
pub(super) fn in_groups(code: &str) -> String {
    let mut shown = String::new();
    for (at, digit) in code.chars().enumerate() {
        if at > 0 && at % 4 == 0 {
            shown.push('-');
        }
        shown.push(digit);
    }
    shown
}

#[cfg(test)]
mod tests {
    use super::*;

    const HERE: IpAddr = IpAddr::V4(std::net::Ipv4Addr::new(192, 168, 1, 7));

    fn later(now: Instant, seconds: u64) -> Instant {
        now + Duration::from_secs(seconds)
    }

    #[test]
    fn a_code_is_good_once_and_for_ten_minutes_however_it_is_typed() {
        let (mut codes, now) = (Codes::default(), Instant::now());
        let code = codes.make("one", now, CODE_LASTS).unwrap().unwrap();
        assert_eq!(code.len(), 16);
        let typed = in_groups(&code).to_ascii_lowercase().replace('0', "o");
        assert_eq!(
            codes.redeem(&typed, HERE, later(now, 599)),
            Ok("one".to_owned())
        );
        assert_eq!(codes.redeem(&code, HERE, now), Err(Denied::Wrong));
        let code = codes.make("two", now, CODE_LASTS).unwrap().unwrap();
        assert_eq!(
            codes.redeem(&code, HERE, later(now, 600)),
            Err(Denied::Wrong)
        );
    }

    #[test]
    fn a_new_code_for_a_tablet_ends_the_one_before() {
        let (mut codes, now) = (Codes::default(), Instant::now());
        let old = codes.make("one", now, CODE_LASTS).unwrap().unwrap();
        let new = codes.make("one", now, CODE_LASTS).unwrap().unwrap();
        assert_ne!(old, new);
        assert_eq!(codes.redeem(&old, HERE, now), Err(Denied::Wrong));
        assert_eq!(codes.redeem(&new, HERE, now), Ok("one".to_owned()));
    }

    #[test]
    fn who_guesses_waits_and_nobody_else_does() {
        let (mut codes, now) = (Codes::default(), Instant::now());
        let code = codes.make("one", now, CODE_LASTS).unwrap().unwrap();
        for _ in 0..MOST_WRONG {
            assert_eq!(codes.redeem("0", HERE, now), Err(Denied::Wrong));
        }
        assert_eq!(codes.redeem(&code, HERE, now), Err(Denied::TooMany));
        let other = "192.168.1.8".parse().unwrap();
        assert_eq!(codes.redeem(&code, other, now), Ok("one".to_owned()));
        assert_eq!(
            codes.redeem("0", HERE, later(now, 60)),
            Err(Denied::Wrong),
            "a minute later it may try again"
        );
    }

    #[test]
    fn a_device_with_many_addresses_is_one_and_what_is_counted_has_an_end() {
        let (mut codes, now) = (Codes::default(), Instant::now());
        for at in 0..20 {
            let ip = format!("fd00::{at:x}").parse().unwrap();
            let denied = codes.redeem("0", ip, now).unwrap_err();
            let few = at < MOST_WRONG;
            assert_eq!(denied == Denied::Wrong, few, "{at}");
        }
        for at in 0..2_000_u32 {
            let ip = IpAddr::V4(std::net::Ipv4Addr::from(0x0a00_0000 + at));
            let _ = codes.redeem("0", ip, now);
        }
        assert_eq!(codes.wrong.len(), MOST_DEVICES);
    }
}
