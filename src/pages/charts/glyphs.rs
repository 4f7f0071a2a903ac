//! The small marks that stand before their words: a sprite of symbols, and how one is used.

use crate::hygiene::control_effect::Verdict;
use crate::hygiene::sufficiency::Sufficiency;
use crate::model::facts::duty::DutyStatus;
use crate::model::facts::standing_move::StandingValue;
use crate::pages::charts::svg::escaped;
use std::fmt::Write as _;

/// A mark. It never stands without its word.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Glyph {
    /// Open disc.
    Below,
    /// Disc filled to half.
    AtOrAbove,
    /// Filled disc.
    Above,
    /// Hatched square.
    NotKnown,
    /// Tall open bar, short filled bar.
    Lowered,
    /// Two even bars.
    NoDifference,
    /// Short open bar, tall filled bar.
    Raised,
    /// Open bar, dashed bar.
    Undecided,
    /// Open pennant.
    Due,
    /// Filled pennant.
    Late,
    /// Lowered pennant.
    Done,
    /// Pennant struck through.
    Declined,
    /// Staff with a bar.
    Waived,
    /// Staff with a broken bar.
    Withdrawn,
    /// Bar with a tail towards zero.
    NonDetect,
    /// Reader's caret.
    Corrected,
    /// Crossed disc.
    Voided,
    /// Filled square with a cross.
    Fault,
    /// Dotted ring.
    Waiting,
}

impl Glyph {
    /// Every mark.
    pub const ALL: [Self; 19] = [
        Self::Below,
        Self::AtOrAbove,
        Self::Above,
        Self::NotKnown,
        Self::Lowered,
        Self::NoDifference,
        Self::Raised,
        Self::Undecided,
        Self::Due,
        Self::Late,
        Self::Done,
        Self::Declined,
        Self::Waived,
        Self::Withdrawn,
        Self::NonDetect,
        Self::Corrected,
        Self::Voided,
        Self::Fault,
        Self::Waiting,
    ];

    /// That of a standing.
    pub const fn of_standing(standing: StandingValue) -> Self {
        match standing {
            StandingValue::Unknown => Self::NotKnown,
            StandingValue::AtOrBelowLimit | StandingValue::BelowLimit | StandingValue::BelowActionLevel => {
                Self::Below
            }
            StandingValue::AtOrAboveActionLevel => Self::AtOrAbove,
            StandingValue::AtOrAboveLimit | StandingValue::AboveLimit => Self::Above,
        }
    }

    /// That of a verdict.
    pub const fn of_verdict(verdict: Verdict) -> Self {
        match verdict {
            Verdict::Lowered => Self::Lowered,
            Verdict::Raised => Self::Raised,
            Verdict::NoDifferenceShown => Self::NoDifference,
            Verdict::Undecided => Self::Undecided,
        }
    }

    /// That of what remains with a control.
    pub const fn of_sufficiency(sufficiency: Sufficiency) -> Self {
        match sufficiency {
            Sufficiency::BelowActionLevel => Self::Below,
            Sufficiency::BelowLimit => Self::AtOrAbove,
            Sufficiency::AboveLimit => Self::Above,
            Sufficiency::Unsettled => Self::NotKnown,
        }
    }

    /// That of a duty.
    pub const fn of_duty(status: DutyStatus) -> Self {
        match status {
            DutyStatus::Open => Self::Due,
            DutyStatus::Met => Self::Done,
            DutyStatus::Overdue => Self::Late,
            DutyStatus::Declined => Self::Declined,
            DutyStatus::Waived => Self::Waived,
            DutyStatus::Withdrawn => Self::Withdrawn,
        }
    }

    /// The name of its symbol.
    pub const fn id(self) -> &'static str {
        match self {
            Self::Below => "g-below",
            Self::AtOrAbove => "g-at-or-above",
            Self::Above => "g-above",
            Self::NotKnown => "g-not-known",
            Self::Lowered => "g-lowered",
            Self::NoDifference => "g-no-difference",
            Self::Raised => "g-raised",
            Self::Undecided => "g-undecided",
            Self::Due => "g-due",
            Self::Late => "g-late",
            Self::Done => "g-done",
            Self::Declined => "g-declined",
            Self::Waived => "g-waived",
            Self::Withdrawn => "g-withdrawn",
            Self::NonDetect => "g-non-detect",
            Self::Corrected => "g-corrected",
            Self::Voided => "g-voided",
            Self::Fault => "g-fault",
            Self::Waiting => "g-waiting",
        }
    }

    /// The word it stands before where nothing more is said.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Below => "below action level",
            Self::AtOrAbove => "at or above action level",
            Self::Above => "above limit",
            Self::NotKnown => "not known",
            Self::Lowered => "lowered",
            Self::NoDifference => "no difference shown",
            Self::Raised => "raised",
            Self::Undecided => "undecided",
            Self::Due => "due",
            Self::Late => "late",
            Self::Done => "completed",
            Self::Declined => "declined",
            Self::Waived => "waived",
            Self::Withdrawn => "withdrawn",
            Self::NonDetect => "below the reporting limit",
            Self::Corrected => "corrected",
            Self::Voided => "voided",
            Self::Fault => "fault",
            Self::Waiting => "waiting",
        }
    }

    /// Whether two bars stand beside each other, so that it is wider than high.
    const fn is_wide(self) -> bool {
        matches!(self, Self::Lowered | Self::NoDifference | Self::Raised | Self::Undecided)
    }

    const fn shape(self) -> &'static str {
        match self {
            Self::Below => r#"<circle class="gl" cx="8" cy="8" r="6"/>"#,
            Self::AtOrAbove => {
                r#"<circle class="gl" cx="8" cy="8" r="6"/><path class="gf" d="M2 8a6 6 0 0 0 12 0Z"/>"#
            }
            Self::Above => r#"<circle class="gf" cx="8" cy="8" r="6.8"/>"#,
            Self::NotKnown => {
                r#"<rect class="gl" x="2" y="2" width="12" height="12"/><path class="gl" d="M2 7L7 2M2 12L12 2M4 14L14 4M9 14L14 9"/>"#
            }
            Self::Lowered => {
                r#"<rect class="gl" x="3" y="1" width="7" height="14"/><rect class="gb" x="13" y="10" width="7" height="5"/>"#
            }
            Self::NoDifference => {
                r#"<rect class="gl" x="3" y="4" width="7" height="11"/><rect class="gb" x="13" y="4" width="7" height="11"/>"#
            }
            Self::Raised => {
                r#"<rect class="gl" x="3" y="10" width="7" height="5"/><rect class="gb" x="13" y="1" width="7" height="14"/>"#
            }
            Self::Undecided => {
                r#"<rect class="gl" x="3" y="4" width="7" height="11"/><rect class="gl gd" x="13" y="1" width="7" height="14"/>"#
            }
            Self::Due => r#"<path class="gl" d="M3 15.5V1M3 1.5L14 5.5L3 9.5Z"/>"#,
            Self::Late => r#"<path class="gb" d="M3 15.5V1M3 1.5L14 5.5L3 9.5Z"/>"#,
            Self::Done => r#"<path class="gl" d="M3 15.5V1M3 8L13 11.5L3 15Z"/>"#,
            Self::Declined => r#"<path class="gl" d="M3 15.5V1M3 1.5L14 5.5L3 9.5ZM1 12L15 1"/>"#,
            Self::Waived => r#"<path class="gl" d="M3 15.5V1M6 5.5h8"/>"#,
            Self::Withdrawn => r#"<path class="gl" d="M3 15.5V1"/><path class="gl gd" d="M5 5.5h10"/>"#,
            Self::NonDetect => r#"<path class="gl" d="M12 3v10M12 8H2"/>"#,
            Self::Corrected => r#"<path class="gl" d="M3 13L8 6L13 13"/>"#,
            Self::Voided => r#"<circle class="gl" cx="8" cy="8" r="6"/><path class="gl" d="M1 8h14"/>"#,
            Self::Fault => {
                r#"<path class="gf" d="M1.5 1.5h13v13h-13Z"/><path class="gx" d="M5 5L11 11M11 5L5 11"/>"#
            }
            Self::Waiting => r#"<circle class="gl gd" cx="8" cy="8" r="6"/>"#,
        }
    }

    /// The mark with its word: a mark that is never alone, and is not read aloud beside the word.
    pub fn with(self, words: &str) -> String {
        let wide = if self.is_wide() { " w" } else { "" };
        let late = if matches!(self, Self::Late | Self::Fault) { " act" } else { "" };
        format!(
            "<span class=\"st{late}\"><svg class=\"gly{wide}\" aria-hidden=\"true\"><use href=\"#{}\"/></svg><span>{}</span></span>",
            self.id(),
            escaped(words)
        )
    }
}

/// The symbols of all marks, to stand once on a page.
pub fn sprite() -> String {
    let mut sprite = "<svg class=\"sprite\" aria-hidden=\"true\">".to_owned();
    for glyph in Glyph::ALL {
        let width = if glyph.is_wide() { 24 } else { 16 };
        let (id, shape) = (glyph.id(), glyph.shape());
        let _ = write!(sprite, "<symbol id=\"{id}\" viewBox=\"0 0 {width} 16\">{shape}</symbol>");
    }
    sprite.push_str("</svg>");
    sprite
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_mark_has_a_shape_an_id_and_a_word_of_its_own() {
        let of = |one: fn(&Glyph) -> &'static str| Glyph::ALL.iter().map(one).collect::<BTreeSet<_>>().len();
        assert_eq!(of(|glyph| glyph.shape()), Glyph::ALL.len());
        assert_eq!(of(|glyph| glyph.id()), Glyph::ALL.len());
        assert_eq!(of(|glyph| glyph.word()), Glyph::ALL.len());
        let sprite = sprite();
        assert!(Glyph::ALL.iter().all(|glyph| sprite.contains(&format!("id=\"{}\"", glyph.id()))));
        assert!(!sprite.contains("style="));
    }

    #[test]
    fn a_mark_stands_before_its_word() {
        assert_eq!(
            Glyph::Late.with("8 days <late>"),
            "<span class=\"st act\"><svg class=\"gly\" aria-hidden=\"true\"><use href=\"#g-late\"/></svg>\
             <span>8 days &lt;late&gt;</span></span>"
        );
    }
}
