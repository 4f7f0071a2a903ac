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
    }
}
