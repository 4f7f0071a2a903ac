//! Days of workers in four parts, which always stand together: settled below, settled at or above, cannot tell, not
//! assessed. The bar draws them by shape, so that it reads in black and white.

use crate::pages::told;
use std::fmt::Write as _;

/// The width of the bar, in its own units.
const WIDTH: i64 = 240;

/// Days of workers by what is settled of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct FourParts {
    /// Settled below the action level.
    pub below: i64,
    /// Settled at or above it.
    pub at_or_above: i64,
    /// Measured, and the results do not tell.
    pub cannot_tell: i64,
    /// Neither worker nor group was measured.
    pub not_assessed: i64,
}

impl FourParts {
    /// All of them.
    pub fn total(&self) -> i64 {
        self.below + self.at_or_above + self.cannot_tell + self.not_assessed
    }

    /// Adds those of another cell.
    pub fn add(&mut self, other: &Self) {
        self.below += other.below;
        self.at_or_above += other.at_or_above;
        self.cannot_tell += other.cannot_tell;
        self.not_assessed += other.not_assessed;
    }

    /// A part as it is told.
    pub fn told(&self, part: impl std::borrow::Borrow<i64>) -> String {
        told::count(*part.borrow())
    }

    /// The bar: at or above filled, below open, cannot tell dotted, not assessed hatched. The numbers stand beside it.
    pub fn bar(&self) -> String {
        let total = self.total();
        let mut svg = format!(
            "<svg class=\"parts\" viewBox=\"0 0 {WIDTH} 16\" aria-hidden=\"true\" focusable=\"false\">"
        );
        let mut from = 0;
        let mut before = 0;
        let parts = [
            (self.at_or_above, "p-over"),
            (self.below, "p-below"),
            (self.cannot_tell, "p-tell"),
            (self.not_assessed, "p-gap"),
        ];
        for (part, class) in parts {
            if total == 0 || part == 0 {
                continue;
            }
            before += part;
            // A part that is there is seen, however small.
            let to = (before * WIDTH / total).max(from + 3).min(WIDTH);
            write!(
                svg,
                "<rect class=\"{class}\" x=\"{from}\" y=\"1\" width=\"{}\" height=\"14\"/>",
                to - from
            )
            .expect("writing to a String cannot fail");
            if class == "p-gap" || class == "p-tell" {
                hatch(&mut svg, class, from, to);
            }
            from = to;
        }
        svg.push_str("</svg>");
        svg
    }
}

/// Lines across a part that is not known, points over one that does not tell.
fn hatch(svg: &mut String, class: &str, from: i64, to: i64) {
    let mut path = String::new();
    if class == "p-gap" {
        let mut x = from - 14;
        while x < to {
            let (left, right) = (x.max(from), (x + 14).min(to));
            // On the line from (x, 15) up to (x + 14, 1), cut at both ends of the part.
            write!(path, "M{left} {}L{right} {}", 15 - (left - x), 15 - (right - x))
                .expect("writing to a String cannot fail");
            x += 6;
        }
    } else {
        let mut x = from + 3;
        while x < to - 1 {
            write!(path, "M{x} 5h1.6M{x} 11h1.6").expect("writing to a String cannot fail");
            x += 5;
        }
    }
    write!(svg, "<path class=\"{class}-lines\" d=\"{path}\"/>").expect("writing to a String cannot fail");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_part_that_is_there_is_seen_and_the_bar_is_full() {
        let parts = FourParts { below: 1_000, at_or_above: 1, cannot_tell: 0, not_assessed: 999 };
        let svg = parts.bar();
        assert!(svg.contains("class=\"p-over\" x=\"0\" y=\"1\" width=\"3\""), "{svg}");
        assert!(!svg.contains("p-tell"), "{svg}");
        let widths: i64 = svg
            .split("<rect ")
            .skip(1)
            .map(|rect| {
                rect.split("width=\"").nth(1).unwrap().split('"').next().unwrap().parse::<i64>().unwrap()
            })
            .sum();
        assert_eq!(widths, WIDTH);
        assert_eq!(FourParts::default().bar().matches("<rect").count(), 0);
    }
}
