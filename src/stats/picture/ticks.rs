//! Finds the ticks of a value axis: multiples of a round step of 1, 2 or 5.

/// The multiples within `from..=to` of the smallest round step that gives at most `most` of them. The step is a
/// multiple of `grid`, so that a tick is always a possible reading. `lead` is the first digit of `grid` for people.
/// `most` is at least 1.
pub(crate) fn ticks(from: i64, to: i64, (grid, lead): (i64, u8), most: i64) -> Ticks {
    let (from, to) = (i128::from(from), i128::from(to));
    let grid = i128::from(grid.max(1));
    // Multiplied by the grid's first digit these give 1, 2 and 5 again, or ten times that.
    let times: [i128; 3] = match lead {
        2 => [1, 5, 25],
        5 => [1, 2, 4],
        _ => [1, 2, 5],
    };
    let decades = std::iter::successors(Some(grid), |decade| decade.checked_mul(10));
    let mut steps = decades.flat_map(|decade| times.map(|times| decade.saturating_mul(times)));
    let fits = |step: &i128| to.div_euclid(*step) - (from - 1).div_euclid(*step) <= most.into();
    let step = steps.find(fits).unwrap_or(i128::MAX);
    let first = (from - 1).div_euclid(step).saturating_add(1);
    Ticks {
        step,
        next: first.saturating_mul(step),
        to,
    }
}

/// Round values, ascending.
#[derive(Debug, Clone)]
pub(crate) struct Ticks {
    pub(crate) step: i128,
    next: i128,
    to: i128,
}

impl Iterator for Ticks {
    type Item = i64;

    fn next(&mut self) -> Option<i64> {
        let tick = i64::try_from(self.next)
            .ok()
            .filter(|_| self.next <= self.to)?;
        self.next = self.next.saturating_add(self.step);
        Some(tick)
    }
}

/// Number of decimals that a step in millionths needs.
pub(crate) fn decimals_of(mut millionths: i128) -> usize {
    let mut places = 6;
    while places > 0 && millionths % 10 == 0 {
        millionths /= 10;
        places -= 1;
    }
    places
}

/// The first non-zero digit of a number.
pub(crate) fn lead(value: f64) -> u8 {
    let digits = format!("{:e}", value.abs());
    let first = digits.chars().next().and_then(|digit| digit.to_digit(10));
    first
        .and_then(|digit| u8::try_from(digit).ok())
        .unwrap_or(1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_even_values_on_the_grid_within_the_ends() {
        let of = |from, to, grid, most| ticks(from, to, grid, most).collect::<Vec<_>>();
        assert_eq!(of(-7, 13, (1, 1), 5), [-5, 0, 5, 10]);
        assert_eq!(of(158, 171, (1, 1), 8), [158, 160, 162, 164, 166, 168, 170]);
        assert_eq!(of(158, 171, (5, 5), 8), [160, 165, 170]);
        assert_eq!(of(158, 171, (5, 5), 2), [160, 170]);
        assert_eq!(
            of(100, 181, (2, 2), 9),
            (100..=180).step_by(10).collect::<Vec<_>>()
        );
        assert_eq!(of(4, 4, (1, 1), 5), [4]);
        assert_eq!(of(i64::MIN, i64::MAX, (1, 1), 3).len(), 3);
        assert_eq!([0.005, 2.0, 0.0105, 0.0].map(lead), [5, 2, 1, 0]);
    }
}
