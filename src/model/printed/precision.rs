//! How many figures the data themselves have.

/// A figure that is computed has at least so many figures; fewer would hide what was measured.
pub const FEWEST: u32 = 2;
/// And at most so many; no sampling of air is more precise than a part in a hundred.
pub const MOST: u32 = 3;

/// How many significant figures a number has as it was written: `0.50` two, `0.5` one, `1500` two (zeros at the end of a
/// whole number only fill its places), `1.500e3` four, `0` none.
///
/// Common practice, no source.
///
/// ```
/// use doseward::model::printed::precision::significant_figures;
/// assert_eq!(["0.50", "0.5", "1500", "1500.", "20.0"].map(significant_figures), [2, 1, 2, 4, 3]);
/// ```
pub fn significant_figures(text: &str) -> u32 {
    let mantissa = text.trim().split(['e', 'E']).next().unwrap_or_default();
    let digits: String = mantissa.chars().filter(char::is_ascii_digit).collect();
    let first = digits.trim_start_matches('0');
    let counted = if mantissa.contains('.') { first } else { first.trim_end_matches('0') };
    u32::try_from(counted.len()).unwrap_or(u32::MAX)
}

/// How many figures a number has that was computed from these: those of the least precise of them, and 2 or 3 as a rule
/// (the look of the pages: two to three); 2 where none of them was written down. A written zero says nothing.
///
/// ```
/// use doseward::model::printed::precision::figures_of;
/// assert_eq!(figures_of(["1.234", "0.50"]), 2);
/// assert_eq!(figures_of(["1.234", "12.55"]), 3);
/// ```
pub fn figures_of<'t>(written: impl IntoIterator<Item = &'t str>) -> u32 {
    let least = written.into_iter().map(significant_figures).filter(|figures| *figures > 0).min();
    least.unwrap_or(FEWEST).clamp(FEWEST, MOST)
}
