//! One drawing: elements with classes, in a frame that nothing leaves.

use std::fmt::Write as _;

/// Height of a line of text in a figure, in its units (13 px, the smallest of the pages).
pub const TEXT_HEIGHT: f64 = 13.0;

/// Which of the two drawings of a figure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Plate {
    /// For wide windows and paper.
    Broad,
    /// For narrow windows.
    Slim,
}

impl Plate {
    /// The width of the frame in its own units.
    pub const fn width(self) -> f64 {
        match self {
            Self::Broad => 1080.0,
            Self::Slim => 358.0,
        }
    }

    /// What holds for this drawing, of two.
    pub fn pick<T>(self, broad: T, slim: T) -> T {
        match self {
            Self::Broad => broad,
            Self::Slim => slim,
        }
    }

    /// Whether it is the slim one.
    pub fn is_slim(self) -> bool {
        self == Self::Slim
    }

    const fn class(self) -> &'static str {
        match self {
            Self::Broad => "broad",
            Self::Slim => "slim",
        }
    }
}

/// To which side of its point a text runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// It begins there.
    Start,
    /// Its middle is there.
    Middle,
    /// It ends there.
    End,
}

/// A rectangle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Area {
    /// Left edge.
    pub x: f64,
    /// Upper edge.
    pub y: f64,
    /// Width.
    pub width: f64,
    /// Height.
    pub height: f64,
}

impl Area {
    /// Between two corners, in whichever order.
    pub fn between(one: (f64, f64), other: (f64, f64)) -> Self {
        let (x, y) = (one.0.min(other.0), one.1.min(other.1));
        Self { x, y, width: (one.0 - other.0).abs(), height: (one.1 - other.1).abs() }
    }

    /// Right edge.
    pub fn right(self) -> f64 {
        self.x + self.width
    }

    /// Lower edge.
    pub fn bottom(self) -> f64 {
        self.y + self.height
    }
}

/// A drawing that is being made.
#[derive(Debug, Clone)]
pub struct Svg {
    id: String,
    plate: Plate,
    height: f64,
    body: String,
    hatched: bool,
}

impl Svg {
    /// An empty drawing; `id` is unique on its page and made of letters, digits and hyphens.
    pub fn new(id: &str, plate: Plate, height: f64) -> Self {
        let id: String = id.chars().filter(|c| c.is_ascii_alphanumeric() || *c == '-').collect();
        let id = format!("{id}-{}", plate.pick("b", "s"));
        Self { id, plate, height, body: String::new(), hatched: false }
    }

    /// Which drawing it is.
    pub fn plate(&self) -> Plate {
        self.plate
    }

    /// Its width.
    pub fn width(&self) -> f64 {
        self.plate.width()
    }

    /// Its height.
    pub fn height(&self) -> f64 {
        self.height
    }

    /// A straight line.
    pub fn line(&mut self, class: &str, from: (f64, f64), to: (f64, f64)) {
        self.path(class, &[from, to], false);
    }

    /// A line through points; closed, it bounds an area. What has a point that is no number is not drawn.
    pub fn path(&mut self, class: &str, points: &[(f64, f64)], closed: bool) {
        if points.len() < 2 || points.iter().any(|(x, y)| !x.is_finite() || !y.is_finite()) {
            return;
        }
        let points: Vec<String> =
            points.iter().map(|(x, y)| format!("{} {}", place(*x), place(*y))).collect();
        let end = if closed { "Z" } else { "" };
        self.add(&format!("<path class=\"{class}\" d=\"M{}{end}\"/>", points.join("L")));
    }

    /// A rectangle; one without any width or height is still seen.
    pub fn rect(&mut self, class: &str, area: Area) {
        let Area { x, y, width, height } = area;
        if [x, y, width, height].iter().all(|number| number.is_finite()) {
            self.add(&format!("<rect class=\"{class}\" {}/>", edges(area)));
        }
    }

    /// A circle.
    pub fn circle(&mut self, class: &str, (x, y): (f64, f64), radius: f64) {
        if x.is_finite() && y.is_finite() {
            self.add(&format!(
                "<circle class=\"{class}\" cx=\"{}\" cy=\"{}\" r=\"{}\"/>",
                place(x),
                place(y),
                place(radius)
            ));
        }
    }

    /// A hatched rectangle: not known.
    pub fn hatch(&mut self, area: Area) {
        self.hatched = true;
        let fill = format!("url(#{}h)", self.id);
        self.add(&format!("<rect fill=\"{fill}\" {}/>", edges(area)));
    }

    /// A text whose baseline stands at `y`, moved sideways where it would leave the frame. `style` is empty or holds classes
    /// (`b` bold, `s` soft, `halo` with paper about it, `mg` magenta).
    pub fn text(&mut self, (x, y): (f64, f64), anchor: Anchor, style: &str, words: &str) {
        if words.is_empty() || !x.is_finite() || !y.is_finite() {
            return;
        }
        let words = shortened(words, self.width(), style);
        let width = text_width(&words, style);
        let x = match anchor {
            Anchor::Start => x.min(self.width() - width).max(0.0),
            Anchor::Middle => x.min(self.width() - width / 2.0).max(width / 2.0),
            Anchor::End => x.max(width).min(self.width()),
        };
        let class = match anchor {
            Anchor::Start => style.trim().to_owned(),
            Anchor::Middle => format!("m {}", style.trim()).trim_end().to_owned(),
            Anchor::End => format!("e {}", style.trim()).trim_end().to_owned(),
        };
        let class = if class.is_empty() { class } else { format!(" class=\"{class}\"") };
        self.add(&format!("<text{class} x=\"{}\" y=\"{}\">{}</text>", place(x), place(y), escaped(&words)));
    }

    fn add(&mut self, element: &str) {
        self.body.push_str(element);
    }

    /// The whole element, with the name and the text alternative that are read aloud.
    pub fn finish(self, title: &str, desc: &str) -> String {
        let Self { id, plate, height, body, hatched } = self;
        let mut whole = String::new();
        let _ = write!(
            whole,
            "<svg class=\"{}\" viewBox=\"0 0 {} {}\" role=\"img\" aria-labelledby=\"{id}t {id}d\">\
             <title id=\"{id}t\">{}</title><desc id=\"{id}d\">{}</desc>",
            plate.class(),
            place(plate.width()),
            place(height),
            escaped(title),
            escaped(desc)
        );
        if hatched {
            let _ = write!(
                whole,
                "<defs><pattern id=\"{id}h\" width=\"7\" height=\"7\" patternUnits=\"userSpaceOnUse\" \
                 patternTransform=\"rotate(45)\"><path class=\"hatchline\" d=\"M0 0V7\"/></pattern></defs>"
            );
        }
        whole.push_str(&body);
        whole.push_str("</svg>");
        whole
    }
}

fn edges(Area { x, y, width, height }: Area) -> String {
    // A hair's breadth is the least that is seen.
    let (width, height) = (width.max(0.8), height.max(0.8));
    format!("x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"", place(x), place(y), place(width), place(height))
}

/// A coordinate with one decimal, so that the same figure is the same text on every machine.
fn place(number: f64) -> String {
    let text = format!("{number:.1}");
    let text = text.strip_suffix(".0").unwrap_or(&text);
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

/// A text as it may stand in an element or an attribute.
pub fn escaped(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for sign in text.chars() {
        match sign {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            // No control character may stand in XML, and none says anything.
            sign if sign.is_control() => safe.push(' '),
            sign => safe.push(sign),
        }
    }
    safe
}

/// About how wide a text is set; rather too wide than too narrow (our own measure of the face, in units of a figure).
pub fn text_width(text: &str, style: &str) -> f64 {
    let of = |sign: char| match sign {
        '\u{202f}' => 2.6,
        ' ' | '.' | ',' | ':' | ';' | '\'' | '|' | 'i' | 'j' | 'l' => 3.8,
        'f' | 't' | 'r' | '(' | ')' | '/' | '-' | 'I' | 's' => 5.2,
        'm' | 'M' | 'W' | 'w' | '%' | '@' => 11.0,
        sign if sign.is_ascii_digit() || sign.is_lowercase() => 7.0,
        sign if sign.is_ascii() => 8.8,
        _ => 13.0,
    };
    let plain: f64 = text.chars().map(of).sum();
    if style.split(' ').any(|one| one == "b") { plain * 1.07 } else { plain }
}

/// A text that is no wider than the room, its end left out where it has to be.
pub fn shortened(text: &str, room: f64, style: &str) -> String {
    if text_width(text, style) <= room {
        return text.to_owned();
    }
    let mut kept = text.to_owned();
    while !kept.is_empty() && text_width(&format!("{kept}…"), style) > room {
        kept.pop();
    }
    if kept.is_empty() { kept } else { format!("{}…", kept.trim_end()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hostile_text_stays_text() {
        let mut svg = Svg::new("a\" onload=\"x", Plate::Slim, 20.0);
        svg.text((0.0, 10.0), Anchor::Start, "", "</text><script>alert('x')</script>\u{7}&");
        let whole = svg.finish("<b>\"", "]]>");
        assert!(!whole.contains("<script") && !whole.contains("<b>") && !whole.contains("onload=\""));
        assert!(whole.contains("&lt;b&gt;&quot;") && whole.contains("]]&gt;"));
    }

    #[test]
    fn what_is_no_number_is_not_drawn() {
        let mut svg = Svg::new("f", Plate::Broad, 20.0);
        svg.circle("own", (f64::NAN, 1.0), 4.0);
        svg.line("ax", (0.0, f64::INFINITY), (1.0, 1.0));
        svg.rect("box", Area { x: 0.0, y: 0.0, width: f64::NAN, height: 1.0 });
        svg.text((f64::NAN, 1.0), Anchor::End, "", "a");
        assert!(svg.body.is_empty());
    }

    #[test]
    fn a_text_that_would_leave_the_frame_is_moved_or_shortened() {
        let mut svg = Svg::new("f", Plate::Slim, 20.0);
        svg.text((350.0, 10.0), Anchor::Start, "", "limit 50");
        assert!(!svg.body.contains("x=\"350\""));
        svg.text((0.0, 10.0), Anchor::Start, "", &"long ".repeat(40));
        assert!(svg.body.contains('…'));
    }

    #[test]
    fn coordinates_have_one_decimal_at_most() {
        assert_eq!([0.04, -0.04, 1.25, 10.0].map(place), ["0", "0", "1.2", "10"]);
    }
}
