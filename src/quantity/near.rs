//! Finds the known name nearest to a misspelt one; every "did you mean" uses this search and its threshold.

/// The known name nearest to `got`, if any is near. Case is ignored. A name is near if at most a quarter of the
/// letters of `got` plus one are wrong, missing, doubled or swapped, and at least one is right.
///
/// ```
/// use tallyjaw::quantity::nearest;
/// assert_eq!(nearest("stattion", ["station", "axis"]), Some("station"));
/// assert_eq!(nearest("plan", ["station", "axis"]), None);
/// ```
pub fn nearest<'n>(got: &str, known: impl IntoIterator<Item = &'n str>) -> Option<&'n str> {
    if got.len() > 100 {
        return None; // no name is as long, and the search takes time with the square
    }
    let got = got.to_lowercase();
    known
        .into_iter()
        .map(|name| {
            (
                strsim::damerau_levenshtein(&got, &name.to_lowercase()),
                name,
            )
        })
        .filter(|(distance, name)| {
            *distance <= 1 + name.chars().count() / 4 && *distance < got.chars().count()
        })
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, name)| name)
}

/// `did you mean "x"?`; `None` if no known name is near.
pub fn meant<'n>(got: &str, known: impl IntoIterator<Item = &'n str>) -> Option<String> {
    nearest(got, known).map(|name| format!("did you mean {name:?}?"))
}

/// `did you mean "x"?`, or the list of known names if none is near.
pub fn did_you_mean(got: &str, known: &[&str]) -> String {
    const MOST_LISTED: usize = 12;
    match meant(got, known.iter().copied()) {
        Some(question) => question,
        None if known.is_empty() => "there is none yet".to_owned(),
        None => {
            let listed: Vec<_> = known.iter().take(MOST_LISTED).copied().collect();
            let rest = known.len().saturating_sub(listed.len());
            let more = if rest > 0 {
                format!(" and {rest} more")
            } else {
                String::new()
            };
            format!("there is {}{more}", listed.join(", "))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_near_name_is_offered_and_a_far_one_is_not() {
        let known = ["station", "instrument", "axis"];
        assert_eq!(nearest("stattion", known), Some("station"));
        assert_eq!(nearest("instrumnet", known), Some("instrument"));
        assert_eq!(nearest("axsi", known), Some("axis"));
        assert_eq!(nearest("AXIS", known), Some("axis"));
        assert_eq!(nearest("plan", known), None);
        assert_eq!(nearest("N", ["mm", "in"]), None, "nothing in common");
        assert_eq!(
            did_you_mean("plan", &known),
            "there is station, instrument, axis"
        );
    }
}
