//! A number as its decimal digits: rounding and setting them without a detour through binary.

use crate::model::rounding::significant;

/// So many digits are kept of a number; see [`significant`].
const DIGITS_KEPT: i32 = 12;

/// Whole numbers below this magnitude, and fractions down to the other one, are set in full; what lies beyond is set with a
/// power of ten (our own choice: six digits before the point and three zeros behind it are still read at a glance).
const IN_FULL: std::ops::Range<i32> = -4..6;

/// From this many digits before the point on they are set in threes.
///
/// The International System of Units, 9th edition 2019, section 5.4.4: four digits may stay together.
const TOGETHER: usize = 4;

/// Stands between groups of three digits (look of the pages: a narrow space); never broken over two lines.
const BETWEEN_THREES: char = '\u{202f}';

/// Which way what is left off is rounded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Toward {
    /// To the nearest; halves away from zero.
    Nearest,
    /// To the next below: for what is *at least* so much.
    Down,
    /// To the next above: for what is *less than* or *at most* so much.
    Up,
}

/// `digits` times ten to the power of `exponent`, with its sign.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Decimal {
    negative: bool,
    digits: u64,
    exponent: i32,
}

impl Decimal {
    /// The 12 significant digits of a number; `None` of what is none.
    pub(super) fn of(value: f64) -> Option<Self> {
        value.is_finite().then_some(())?;
        Self::read(&format!("{:.11e}", significant(value)))
    }

    /// The digits of a text as it was written (`0.50` has two); `None` where there are more than 12 or it is no number.
    pub(super) fn read(text: &str) -> Option<Self> {
        let (mantissa, power) = text.trim().split_once(['e', 'E']).unwrap_or((text.trim(), "0"));
        let negative = mantissa.starts_with('-');
        let (whole, fraction) = mantissa
            .trim_start_matches(['-', '+'])
            .split_once('.')
            .unwrap_or_else(|| (mantissa.trim_start_matches(['-', '+']), ""));
        let digits: u64 = format!("{whole}{fraction}").parse().ok()?;
        (digits < 10u64.pow(DIGITS_KEPT.unsigned_abs())).then_some(())?;
        let behind = i32::try_from(fraction.len()).ok()?;
        // Nothing times any power of ten is nothing, to as many places as were written.
        let power = power.parse::<i32>().ok().map(|power| if digits == 0 { 0 } else { power })?;
        let exponent = power.checked_sub(behind)?;
        Some(Self { negative: negative && digits > 0, digits, exponent })
    }

    /// The same without the zeros at its end.
    pub(super) fn shortest(self) -> Self {
        if self.digits == 0 {
            return Self { negative: false, digits: 0, exponent: 0 };
        }
        let mut short = self;
        while short.digits.is_multiple_of(10) {
            short = Self { digits: short.digits / 10, exponent: short.exponent + 1, ..short };
        }
        short
    }

    /// The power of ten of the first digit.
    pub(super) fn magnitude(self) -> i32 {
        let more = self.digits.checked_ilog10().unwrap_or_default();
        self.exponent.saturating_add(i32::try_from(more).unwrap_or_default())
    }

    /// The power of ten of the last digit.
    pub(super) const fn finest(self) -> i32 {
        self.exponent
    }

    /// The number.
    pub(super) fn value(self) -> f64 {
        let sign = if self.negative { "-" } else { "" };
        format!("{sign}{}e{}", self.digits, self.exponent).parse().unwrap_or(f64::NAN)
    }

    /// Rounded so that the last digit is worth ten to the power of `place`; never finer than its digits.
    pub(super) fn rounded(self, place: i32, toward: Toward) -> Self {
        let off = u32::try_from(place.saturating_sub(self.exponent)).unwrap_or_default();
        let Some(unit) = 10u64.checked_pow(off) else {
            // Far below the last place: only the direction counts.
            let away = self.digits > 0 && self.goes_away(toward, false);
            return Self { digits: u64::from(away), exponent: place, ..self };
        };
        let (whole, rest) = (self.digits / unit, self.digits % unit);
        let away = rest > 0 && self.goes_away(toward, rest.saturating_mul(2) >= unit);
        let digits = whole + u64::from(away);
        Self {
            digits,
            exponent: self.exponent.saturating_add_unsigned(off),
            negative: self.negative && digits > 0,
        }
    }

    /// Whether a rest takes the number away from zero.
    const fn goes_away(self, toward: Toward, half_or_more: bool) -> bool {
        match toward {
            Toward::Nearest => half_or_more,
            Toward::Down => self.negative,
            Toward::Up => !self.negative,
        }
    }

    /// One digit fewer, where rounding carried into a new place (9.96 in two figures is 10, not 10.0).
    pub(super) fn carried(self, before: Self) -> Self {
        if self.magnitude() > before.magnitude() && self.digits.is_multiple_of(10) && self.digits > 0 {
            return Self { digits: self.digits / 10, exponent: self.exponent + 1, ..self };
        }
        self
    }
}

impl std::fmt::Display for Decimal {
    /// `0.050`, `12 300`, `1.2 × 10⁻⁵`.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if self.negative {
            f.write_str("\u{2212}")?;
        }
        let digits = self.digits.to_string();
        let magnitude = self.magnitude();
        if self.digits > 0 && !IN_FULL.contains(&magnitude) {
            let (first, rest) = digits.split_at(1);
            let point = if rest.is_empty() { "" } else { "." };
            return write!(f, "{first}{point}{rest} × 10{}", raised(magnitude));
        }
        if self.exponent >= 0 {
            let zeros = usize::try_from(self.exponent).unwrap_or_default();
            return f.write_str(&in_threes(&format!("{digits}{}", "0".repeat(zeros))));
        }
        let behind = usize::try_from(self.exponent.unsigned_abs()).unwrap_or_default();
        let padded = format!("{digits:0>width$}", width = behind + 1);
        let (whole, fraction) = padded.split_at(padded.len() - behind);
        write!(f, "{}.{fraction}", in_threes(whole))
    }
}

/// A whole number in groups of three.
fn in_threes(whole: &str) -> String {
    if whole.len() <= TOGETHER {
        return whole.to_owned();
    }
    let mut grouped = String::with_capacity(whole.len() * 2);
    for (place, digit) in whole.chars().enumerate() {
        if place > 0 && (whole.len() - place).is_multiple_of(3) {
            grouped.push(BETWEEN_THREES);
        }
        grouped.push(digit);
    }
    grouped
}

/// A power of ten in raised figures.
fn raised(power: i32) -> String {
    let set = |sign: char| match sign {
        '-' => '⁻',
        '0' => '⁰',
        '1' => '¹',
        '2' => '²',
        '3' => '³',
        '4' => '⁴',
        '5' => '⁵',
        '6' => '⁶',
        '7' => '⁷',
        '8' => '⁸',
        _ => '⁹',
    };
    power.to_string().chars().map(set).collect()
}
