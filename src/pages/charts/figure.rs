//! A figure: two drawings of one picture, what is said of it, the key of its marks, and the table beside it.

use crate::pages::charts::svg::{Plate, Svg, escaped};
use std::fmt::Write as _;

/// A column of the table beside a figure.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Column {
    /// Its head, with the unit where it has one.
    pub head: String,
    /// Whether it holds numbers, which are ranged right.
    pub numeric: bool,
}

impl Column {
    /// A column of text.
    pub fn text(head: impl Into<String>) -> Self {
        Self { head: head.into(), numeric: false }
    }

    /// A column of numbers.
    pub fn number(head: impl Into<String>) -> Self {
        Self { head: head.into(), numeric: true }
    }
}

/// A row of the table.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Row {
    /// One text a column; the first names the row.
    pub cells: Vec<String>,
    /// Whether nothing is known there, so that the row is hatched.
    pub unknown: bool,
}

impl Row {
    /// A row of what is known.
    pub fn of(cells: impl IntoIterator<Item = String>) -> Self {
        Self { cells: cells.into_iter().collect(), unknown: false }
    }

    /// A row of which nothing is known.
    pub fn unknown(cells: impl IntoIterator<Item = String>) -> Self {
        Self { cells: cells.into_iter().collect(), unknown: true }
    }
}

/// The table that stands beside a figure and holds its numbers.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Table {
    /// What it holds.
    pub caption: String,
    /// Its columns.
    pub columns: Vec<Column>,
    /// Its rows, each with one cell a column.
    pub rows: Vec<Row>,
}

/// A mark of a figure with its words.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum KeyMark {
    /// Filled circle.
    Own,
    /// Open circle.
    Other,
    /// Open square.
    Beside,
    /// Bar with a tail.
    NonDetect,
    /// Bar with a tail downwards, where values stand upwards.
    NonDetectDown,
    /// A line with ends, for what is known as a range.
    Range,
    /// Dots beneath a mark.
    NotAccepted,
    /// The line of an estimate.
    Estimate,
    /// The line of an estimate of a posterior.
    EstimatePosterior,
    /// The line of a judgement.
    EstimateJudged,
    /// An estimate with its interval.
    Interval,
    /// A limit.
    Limit,
    /// An action level.
    ActionLevel,
    /// A target.
    Target,
    /// Tinted band with dashed edge.
    BandRepresented,
    /// Blue band with solid edge.
    BandOwn,
    /// Band with dotted edge.
    BandPosterior,
    /// Band without tint.
    BandJudged,
    /// Hatched.
    Gap,
    /// Dotted line.
    Away,
    /// Notched line.
    Era,
    /// Open disc.
    DiscBelow,
    /// Half-filled disc.
    DiscAtOrAbove,
    /// Filled disc.
    DiscAbove,
    /// Open pennant.
    Due,
    /// Filled pennant.
    Late,
    /// Lowered pennant.
    Done,
    /// Open bar.
    BarBelow,
    /// Filled bar.
    BarAtOrAbove,
    /// Bar with a dashed edge.
    BarCannotTell,
}

/// A figure.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Figure {
    /// What it shows, in a line.
    pub title: String,
    /// The same in plain sentences, for whoever does not see it.
    pub desc: String,
    /// What must stand beside it in words: what is not drawn, and what is too few.
    pub notes: Vec<String>,
    /// The drawing for wide windows and paper.
    pub broad: String,
    /// The drawing for narrow windows.
    pub slim: String,
    /// The marks that occur in it.
    pub key: Vec<(KeyMark, String)>,
    /// The table beside it.
    pub table: Table,
}

/// What is said of a figure, before it is drawn.
#[derive(Debug, Clone, Default)]
pub struct Said {
    /// What it shows, in a line.
    pub title: String,
    /// Plain sentences.
    pub desc: Vec<String>,
    /// What must stand beside it.
    pub notes: Vec<String>,
    /// Its marks.
    pub key: Vec<(KeyMark, String)>,
    /// Its table.
    pub table: Table,
}

impl Figure {
    /// Draws both drawings.
    pub fn drawn(said: Said, draw: impl Fn(Plate) -> Svg) -> Self {
        let Said { title, desc, notes, key, table } = said;
        let desc = desc.iter().chain(&notes).map(String::as_str).collect::<Vec<_>>().join(" ");
        let broad = draw(Plate::Broad).finish(&title, &desc);
        let slim = draw(Plate::Slim).finish(&title, &desc);
        Self { title, desc, notes, broad, slim, key, table }
    }

    /// Both drawings and the key, as they stand in a `figure`.
    pub fn html(&self) -> String {
        let mut html = format!("{}{}", self.broad, self.slim);
        if !self.key.is_empty() {
            html.push_str("<ul class=\"key\">");
            for (mark, words) in &self.key {
                let _ = write!(
                    html,
                    "<li><svg viewBox=\"0 0 26 16\" aria-hidden=\"true\">{}</svg>{}</li>",
                    mark.drawn(),
                    escaped(words)
                );
            }
            html.push_str("</ul>");
        }
        html
    }
}

impl KeyMark {
    /// Its elements in a frame of 26 by 16.
    pub const fn drawn(self) -> &'static str {
        match self {
            Self::Own => r#"<circle class="own" cx="13" cy="8" r="4.6"/>"#,
            Self::Other => r#"<circle class="grp" cx="13" cy="8" r="4"/>"#,
            Self::Beside => r#"<rect class="grp" x="9.5" y="4.5" width="7" height="7"/>"#,
            Self::NonDetect => r#"<path class="nd" d="M18 3L18 13M18 8L6 8"/>"#,
            Self::NonDetectDown => r#"<path class="nd" d="M8 3L18 3M13 3L13 15"/>"#,
            Self::Range => r#"<path class="nd" d="M5 4L5 12M5 8L21 8M21 4L21 12"/>"#,
            Self::NotAccepted => r#"<path class="prv" d="M5 11L21 11"/>"#,
            Self::Estimate => r#"<path class="est" d="M2 8L24 8"/>"#,
            Self::EstimatePosterior => r#"<path class="estp" d="M2 8L24 8"/>"#,
            Self::EstimateJudged => r#"<path class="estj" d="M2 8L24 8"/>"#,
            Self::Interval => {
                r#"<path class="whisk" d="M3 8L23 8M3 4L3 12M23 4L23 12"/><path class="est" d="M13 2L13 14"/>"#
            }
            Self::Limit => r#"<path class="lim" d="M1 8L25 8"/>"#,
            Self::ActionLevel => r#"<path class="al" d="M1 8L25 8"/>"#,
            Self::Target => r#"<path class="tgt" d="M1 8L25 8"/>"#,
            Self::BandRepresented => r#"<rect class="bg" x="1" y="2" width="24" height="12"/>"#,
            Self::BandOwn => r#"<rect class="bo" x="1" y="2" width="24" height="12"/>"#,
            Self::BandPosterior => r#"<rect class="bp" x="1" y="2" width="24" height="12"/>"#,
            Self::BandJudged => r#"<rect class="bj" x="1" y="2" width="24" height="12"/>"#,
            Self::Gap => {
                r#"<rect class="thin" x="2" y="2" width="22" height="12"/><path class="hatchline" d="M2 10L10 2M4 14L16 2M11 14L23 2M18 14L24 8"/>"#
            }
            Self::Away => r#"<path class="away" d="M1 8L25 8"/>"#,
            Self::Era => r#"<path class="era" d="M13 2L13 16"/><path class="notch" d="M8 2L18 2L13 9Z"/>"#,
            Self::DiscBelow => r#"<circle class="ph" cx="13" cy="8" r="6"/>"#,
            Self::DiscAtOrAbove => {
                r#"<circle class="ph" cx="13" cy="8" r="6"/><path class="phf" d="M7 8a6 6 0 0 0 12 0Z"/>"#
            }
            Self::DiscAbove => r#"<circle class="phf" cx="13" cy="8" r="6.6"/>"#,
            Self::Due => r#"<path class="ax" d="M7 16L7 1"/><path class="ph" d="M7 1L19 5L7 9Z"/>"#,
            Self::Late => r#"<path class="ax" d="M7 16L7 1"/><path class="act" d="M7 1L19 5L7 9Z"/>"#,
            Self::Done => r#"<path class="ax" d="M7 16L7 1"/><path class="ph" d="M7 7L19 11L7 15Z"/>"#,
            Self::BarBelow => r#"<rect class="box" x="2" y="3" width="22" height="10"/>"#,
            Self::BarAtOrAbove => r#"<rect class="boxf" x="2" y="3" width="22" height="10"/>"#,
            Self::BarCannotTell => r#"<rect class="boxd" x="2" y="3" width="22" height="10"/>"#,
        }
    }
}
