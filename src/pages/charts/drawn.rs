//! Reads a drawing back, so that tests see what a reader sees: elements, their places, and the numbers of axes.

use crate::pages::charts::figure::Figure;
use crate::pages::charts::svg::text_width;
use std::collections::BTreeMap;

/// An element.
#[derive(Debug, Clone)]
pub(super) struct Element {
    pub(super) name: String,
    pub(super) attributes: BTreeMap<String, String>,
    pub(super) text: String,
}

impl Element {
    pub(super) fn class(&self) -> &str {
        self.attributes.get("class").map_or("", String::as_str)
    }

    pub(super) fn is(&self, name: &str, class: &str) -> bool {
        self.name == name && self.class().split(' ').any(|one| one == class)
    }

    pub(super) fn number(&self, name: &str) -> f64 {
        self.attributes[name].parse().unwrap()
    }

    /// The points of a path.
    pub(super) fn points(&self) -> Vec<(f64, f64)> {
        let d = self.attributes["d"].trim_start_matches('M').trim_end_matches('Z');
        d.split('L')
            .map(|point| {
                let (x, y) = point.split_once(' ').unwrap();
                (x.parse().unwrap(), y.parse().unwrap())
            })
            .collect()
    }

    /// Left, upper, right and lower edge; `None` for what has no place.
    pub(super) fn edges(&self) -> Option<[f64; 4]> {
        match self.name.as_str() {
            "path" if self.class() != "hatchline" => {
                let points = self.points();
                let of = |axis: fn(&(f64, f64)) -> f64| -> (f64, f64) {
                    let all = points.iter().map(axis);
                    (all.clone().fold(f64::INFINITY, f64::min), all.fold(f64::NEG_INFINITY, f64::max))
                };
                let ((left, right), (top, bottom)) = (of(|point| point.0), of(|point| point.1));
                Some([left, top, right, bottom])
            }
            "rect" => {
                let (x, y) = (self.number("x"), self.number("y"));
                Some([x, y, x + self.number("width"), y + self.number("height")])
            }
            "circle" => {
                let (x, y, r) = (self.number("cx"), self.number("cy"), self.number("r"));
                Some([x - r, y - r, x + r, y + r])
            }
            "text" => {
                let width = text_width(&plain(&self.text), self.class());
                let x = self.number("x");
                let left = match self.class() {
                    class if class.split(' ').any(|one| one == "e") => x - width,
                    class if class.split(' ').any(|one| one == "m") => x - width / 2.0,
                    _ => x,
                };
                Some([left, self.number("y") - 10.0, left + width, self.number("y") + 3.0])
            }
            _ => None,
        }
    }
}

/// A text as it is read.
pub(super) fn plain(text: &str) -> String {
    let text = text.replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"").replace("&#39;", "'");
    text.replace("&amp;", "&")
}

/// Every element of a drawing, with the text that follows its tag.
pub(super) fn elements(svg: &str) -> Vec<Element> {
    let mut found = Vec::new();
    for tag in svg.split('<').skip(1).filter(|tag| !tag.starts_with('/')) {
        let (inside, text) = tag.split_once('>').unwrap();
        let inside = inside.trim_end_matches('/');
        let (name, mut rest) = inside.split_once(' ').unwrap_or((inside, ""));
        let mut attributes = BTreeMap::new();
        while let Some((key, after)) = rest.split_once("=\"") {
            let (value, after) = after.split_once('"').unwrap();
            attributes.insert(key.trim().to_owned(), value.to_owned());
            rest = after;
        }
        found.push(Element { name: name.to_owned(), attributes, text: text.to_owned() });
    }
    found
}

/// The frame of a drawing.
pub(super) fn frame(svg: &str) -> (f64, f64) {
    let all = elements(svg);
    let mut numbers = all[0].attributes["viewBox"].split(' ').skip(2).map(|number| number.parse().unwrap());
    (numbers.next().unwrap(), numbers.next().unwrap())
}

/// The numbers of an axis with their places: texts ranged right before `left` (upwards) or in one line (to the right).
pub(super) fn axis_upwards(svg: &str, left: f64) -> Vec<(f64, f64)> {
    let mut found: Vec<(f64, f64)> = elements(svg)
        .iter()
        .filter(|one| one.is("text", "e") && (one.number("x") - left).abs() < 0.2)
        .filter_map(|one| Some((one.text.replace('\u{202f}', "").parse().ok()?, one.number("y") - 4.0)))
        .collect();
    found.sort_by(|one, other| one.0.total_cmp(&other.0));
    found
}

/// The numbers in one line with their places.
pub(super) fn axis_rightwards(svg: &str, y: f64) -> Vec<(f64, f64)> {
    let mut found: Vec<(f64, f64)> = elements(svg)
        .iter()
        .filter(|one| one.is("text", "m") && (one.number("y") - y).abs() < 0.2)
        .filter_map(|one| Some((one.text.replace('\u{202f}', "").parse().ok()?, one.number("x"))))
        .collect();
    found.sort_by(|one, other| one.0.total_cmp(&other.0));
    found
}

/// Where a value stands by the numbers of a logarithmic axis.
pub(super) fn by_log_axis(axis: &[(f64, f64)], value: f64) -> f64 {
    let ((low, at_low), (high, at_high)) = (axis[1], axis[axis.len() - 2]);
    at_low + (value / low).ln() / (high / low).ln() * (at_high - at_low)
}

/// What must hold of every figure.
pub(super) fn check(figure: &Figure) {
    for svg in [&figure.broad, &figure.slim] {
        assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
        assert!(!svg.contains("style=") && !svg.contains("<script"), "{svg}");
        let (width, height) = frame(svg);
        for one in elements(svg) {
            // A mark stands on its place with half its breadth beyond, within the room that the page leaves about a figure.
            if let Some([left, top, right, bottom]) = one.edges() {
                let inside = left >= -1.0 && top >= -1.0 && right <= width + 1.0 && bottom <= height + 1.0;
                assert!(inside, "{one:?} leaves {width} x {height}");
            }
            for class in one.class().split(' ').filter(|class| !class.is_empty()) {
                assert!(KNOWN.contains(&class), "nobody styles {class}");
            }
        }
    }
    assert!(!figure.title.is_empty() && !figure.desc.is_empty());
    for row in &figure.table.rows {
        assert_eq!(row.cells.len(), figure.table.columns.len(), "{row:?}");
    }
}

/// Every class that the style sheets of pages and figures know.
const KNOWN: &[&str] = &[
    "broad",
    "slim",
    "ax",
    "tick",
    "lim",
    "al",
    "tgt",
    "own",
    "grp",
    "nd",
    "est",
    "bo",
    "bg",
    "bedge",
    "bfill",
    "bwash",
    "era",
    "notch",
    "box",
    "hatchline",
    "away",
    "ph",
    "phf",
    "act",
    "acto",
    "whisk",
    "thin",
    "b",
    "e",
    "m",
    "s",
    "halo",
    "mg",
    "bl",
    "prv",
    "bp",
    "bj",
    "estp",
    "estj",
    "boxf",
    "boxd",
    "on",
];
