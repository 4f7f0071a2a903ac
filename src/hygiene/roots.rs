//! Where a function of one variable crosses zero.

/// The steps of a search before it is given up; each at least halves the bracket every other time.
const STEPS: usize = 400;

/// The zero of `f` between `low` and `high`, where it has opposite signs; to the last digits of a double.
pub(super) fn solve(f: impl Fn(f64) -> f64, low: f64, high: f64) -> f64 {
    solve_within(f, low, high, 4.0 * f64::EPSILON)
}

/// The same to a share of the size of the zero (of 1 where that is smaller).
///
/// Regula falsi with the Illinois weight, and a halving whenever that is slow.
#[expect(clippy::float_cmp, reason = "an exact zero, and neighbouring doubles")]
pub(super) fn solve_within(f: impl Fn(f64) -> f64, low: f64, high: f64, tolerance: f64) -> f64 {
    let (mut a, mut b) = (low, high);
    let (mut fa, mut fb) = (f(a), f(b));
    let mut width = (b - a).abs();
    for step in 0..STEPS {
        if fa == 0.0 {
            return a;
        }
        let size = a.abs().max(b.abs());
        let floor = if tolerance > 1e-15 { 1.0 } else { 0.0 };
        if fb == 0.0 || (b - a).abs() <= tolerance * size.max(floor) {
            return b;
        }
        let secant = b - fb * (b - a) / (fb - fa);
        let inside = secant > a.min(b) && secant < a.max(b);
        let slow = step % 3 == 2 && (b - a).abs() > 0.5 * width;
        if step % 3 == 2 {
            width = (b - a).abs();
        }
        let next = if inside && !slow { secant } else { f64::midpoint(a, b) };
        let value = f(next);
        if next == a || next == b || value.is_nan() {
            return next;
        }
        if (value > 0.0) == (fb > 0.0) {
            fa *= 0.5;
        } else {
            (a, fa) = (b, fb);
        }
        (b, fb) = (next, value);
    }
    b
}

/// The zero of `f` found outward from `start`, in steps that double, no further than `furthest` from it.
pub(super) fn outward(f: impl Fn(f64) -> f64, start: f64, step: f64, furthest: f64) -> Option<f64> {
    let first = f(start);
    let (mut near, mut step) = (start, step);
    while (near - start).abs() < furthest {
        let far = near + step;
        let value = f(far);
        if value.is_nan() {
            return None;
        }
        if (value > 0.0) != (first > 0.0) {
            return Some(solve(f, near, far));
        }
        near = far;
        step *= 2.0;
    }
    None
}

/// The zero of a rising function by Newton's steps from `start`, kept between the ends by halving; the end next to it
/// where it lies beyond, `None` where the function is no number.
///
/// `f` gives the value and the slope, in units in which it is nearly a straight line over a unit.
pub(super) fn newton(
    mut f: impl FnMut(f64) -> (f64, f64),
    start: f64,
    (low, high): (f64, f64),
) -> Option<f64> {
    // The bracket: ends are open until the function was seen on that side of its zero.
    let (mut left, mut right) = (None, None);
    let mut x = start.clamp(low, high);
    let mut stride = 1.0 + 0.1 * x.abs();
    for _ in 0..STEPS {
        let (value, slope) = f(x);
        if value.is_nan() {
            return None;
        }
        let step = -value / slope;
        let next = x + step;
        // Newton's step squares what is missing, so this one leaves nothing.
        if value == 0.0 || (value.abs() <= 1e-8 && next.is_finite()) {
            return Some(if next.is_finite() { next.clamp(low, high) } else { x });
        }
        let end = if value < 0.0 {
            left = Some(x);
            high
        } else {
            right = Some(x);
            low
        };
        if x.to_bits() == end.to_bits() {
            return Some(x);
        }
        let (lowest, highest) = (left.unwrap_or(low), right.unwrap_or(high));
        x = if next > lowest && next < highest {
            next
        } else if let (Some(left), Some(right)) = (left, right) {
            let middle = f64::midpoint(left, right);
            if middle.to_bits() == left.to_bits() || middle.to_bits() == right.to_bits() {
                return Some(middle);
            }
            middle
        } else {
            stride *= 2.0;
            (x + if value < 0.0 { stride } else { -stride }).clamp(low, high)
        };
    }
    Some(x)
}

#[cfg(test)]
mod tests {
    use super::*;

    // Arithmetic: the square root of two, and ln 20.
    #[test]
    fn a_root_is_found_to_the_last_digits() {
        assert!((solve(|x| x * x - 2.0, 0.0, 2.0) - 2f64.sqrt()).abs() < 1e-15);
        let found = outward(|x| x.exp() - 20.0, 0.0, 0.01, 100.0).unwrap();
        assert!((found - 20f64.ln()).abs() < 1e-14);
        assert_eq!(outward(|_| 1.0, 0.0, 1.0, 1e6), None);
        let by_newton = newton(|x| (x.exp() - 20.0, x.exp()), -50.0, (-1e3, 1e3)).unwrap();
        assert!((by_newton - 20f64.ln()).abs() < 1e-14);
    }

    #[test]
    fn a_zero_beyond_an_end_is_that_end() {
        assert_eq!(newton(|x| (x.atan() - 1.6, 1.0 / (1.0 + x * x)), 3.0, (-50.0, 50.0)), Some(50.0));
        assert_eq!(newton(|x| (x + 60.0, 1.0), 3.0, (-50.0, 50.0)), Some(-50.0));
        assert_eq!(newton(|_| (f64::NAN, 1.0), 3.0, (-50.0, 50.0)), None);
    }
}
