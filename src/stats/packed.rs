//! Whole numbers in their order, in as little memory as they need.
//!
//! In: readings in base units, one after the other. Out: the same numbers, as often as needed.
//!
//! - Readings are multiples of a resolution and lie close together. A block of them is kept as its lowest reading, the
//!   largest step of which all are multiples, and the number of steps of each: one byte where these are below 256.
//! - Any number can be kept. What is no reading of an instrument takes up to eight bytes.

/// Number of readings in a block.
const BLOCK: usize = 4096;

/// Whole numbers in order.
///
/// ```
/// use tallyjaw::stats::packed::Packed;
/// let bases = (0..100_000).map(|at| 1_620_000 + 10_000 * (at % 7));
/// let packed: Packed = bases.clone().collect();
/// assert!(packed.iter().eq(bases));
/// assert!(packed.bytes() < 150_000);
/// ```
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Packed {
    blocks: Vec<Block>,
    /// Those of the last block, which has room for more.
    last: Vec<i64>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
struct Block {
    lowest: i64,
    step: u64,
    steps: Steps,
}

/// How many steps above the lowest each number of a block is, in the smallest integers that hold them.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Steps {
    One(Box<[u8]>),
    Two(Box<[u16]>),
    Four(Box<[u32]>),
    Eight(Box<[u64]>),
}

impl Packed {
    /// Adds the next number.
    pub fn push(&mut self, number: i64) {
        self.last.push(number);
        if self.last.len() == BLOCK {
            self.blocks.push(Block::of(&self.last));
            self.last.clear();
        }
    }

    /// How many numbers there are.
    pub fn len(&self) -> usize {
        self.blocks.len() * BLOCK + self.last.len()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// The numbers, in order.
    pub fn iter(&self) -> impl Iterator<Item = i64> + Clone + '_ {
        let blocks = self.blocks.iter().flat_map(Block::numbers);
        blocks.chain(self.last.iter().copied())
    }

    /// Memory that the numbers take, in bytes.
    pub fn bytes(&self) -> usize {
        let blocks: usize = self.blocks.iter().map(|block| block.steps.bytes()).sum();
        blocks
            + self.blocks.capacity() * size_of::<Block>()
            + self.last.capacity() * size_of::<i64>()
    }
}

impl FromIterator<i64> for Packed {
    fn from_iter<I: IntoIterator<Item = i64>>(numbers: I) -> Self {
        let mut packed = Self::default();
        numbers.into_iter().for_each(|number| packed.push(number));
        packed
    }
}

impl Block {
    fn of(numbers: &[i64]) -> Self {
        let lowest = numbers.iter().copied().min().unwrap_or(0);
        let above = || numbers.iter().map(|number| number.abs_diff(lowest));
        let step = above().fold(0, common_divisor).max(1);
        let steps = || above().map(|above| above / step);
        let exact = Steps::fitting(steps, Steps::One)
            .or_else(|| Steps::fitting(steps, Steps::Two))
            .or_else(|| Steps::fitting(steps, Steps::Four));
        Self {
            lowest,
            step,
            steps: exact.unwrap_or_else(|| Steps::Eight(steps().collect())),
        }
    }

    fn numbers(&self) -> impl Iterator<Item = i64> + Clone + '_ {
        (0..BLOCK).filter_map(|at| {
            let above = self.steps.get(at)?.wrapping_mul(self.step);
            Some(self.lowest.wrapping_add_unsigned(above))
        })
    }
}

impl Steps {
    /// The steps as integers of one size; `None` if one of them does not fit.
    fn fitting<S: TryFrom<u64>, I: Iterator<Item = u64>>(
        steps: impl Fn() -> I,
        of: impl Fn(Box<[S]>) -> Self,
    ) -> Option<Self> {
        let steps: Option<Box<[S]>> = steps().map(|steps| S::try_from(steps).ok()).collect();
        steps.map(of)
    }

    fn get(&self, at: usize) -> Option<u64> {
        match self {
            Self::One(steps) => steps.get(at).map(|steps| u64::from(*steps)),
            Self::Two(steps) => steps.get(at).map(|steps| u64::from(*steps)),
            Self::Four(steps) => steps.get(at).map(|steps| u64::from(*steps)),
            Self::Eight(steps) => steps.get(at).copied(),
        }
    }

    fn bytes(&self) -> usize {
        match self {
            Self::One(steps) => size_of_val(&**steps),
            Self::Two(steps) => size_of_val(&**steps),
            Self::Four(steps) => size_of_val(&**steps),
            Self::Eight(steps) => size_of_val(&**steps),
        }
    }
}

fn common_divisor(mut one: u64, mut other: u64) -> u64 {
    while other != 0 {
        (one, other) = (other, one % other);
    }
    one
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn any_numbers_come_back_as_they_were(
            numbers in proptest::collection::vec(prop_oneof![any::<i64>(), -300_i64..300, Just(i64::MIN), Just(i64::MAX)], 0..40),
            step in prop_oneof![Just(1_i64), Just(10_000), Just(-7)],
            many in 0_usize..10_000,
        ) {
            let numbers: Vec<i64> = numbers.iter().map(|number| number.wrapping_mul(step)).collect();
            let all = || numbers.iter().copied().cycle().take(if numbers.is_empty() { 0 } else { many });
            let packed: Packed = all().collect();
            prop_assert_eq!(packed.len(), all().count());
            prop_assert!(packed.iter().eq(all()));
        }
    }

    #[test]
    fn a_reading_of_an_instrument_takes_one_byte_and_any_number_no_more_than_eight() {
        let readings = (0..1_000_000).map(|at| 1_620_000 + 10_000 * (at * at % 97));
        let packed: Packed = readings.collect();
        assert!(packed.bytes() < 1_100_000, "{}", packed.bytes());
        let spread = (0..1_000_000_i64).map(|at| at.wrapping_mul(0x09e3_779b_97f4_a7c1));
        let packed: Packed = spread.collect();
        assert!(packed.bytes() < 8_100_000, "{}", packed.bytes());
    }
}
