//! What each paragraph asks for, written down from its text and not from the columns of the table.

use doseward::model::facts::group::ConditionKind::{
    self, ListedTask, RegulatedArea, RespiratorRequired, SkinContact,
};
use doseward::model::facts::rule_set::RuleSet::{
    self, UsConstruction as CO, UsGeneralIndustry as GI, UsMaritime as MA,
};
use doseward::model::facts::worker::MedicalGroundKind::{
    self, BloodLead, OtherBiological, Recommendation, Removal, SignsOrSymptoms,
};
use doseward::model::unit::Unit::{self, DbA, FibresPerMl, Ppb, Ppm, UgPerM3};

/// Whether a value exactly at the level counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Side {
    AtOrAbove,
    Above,
}
use Side::{Above, AtOrAbove};

/// What a paragraph asks for.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Asks {
    /// So many days with an 8-hour average at a level.
    Average(f64, Unit, Side, usize),
    /// The same with a short-term average.
    Short(f64, Unit, Side, usize),
    /// Covered by one day at a level, unless fewer than so many are shown.
    Presumed(f64, Unit, Side, usize),
    /// Any exposure at all.
    Any,
    /// So many days of a condition.
    Days(ConditionKind, usize),
    /// A release.
    Release,
    /// A physician's ground.
    Ground(MedicalGroundKind),
    /// One day at a level and a ground that names the clause.
    AverageAndGround(f64, Unit, Side),
    /// So many days a year at a level, in so many years; only before a day.
    Years(f64, Unit, Side, usize, u32, Option<&'static str>),
    /// More than so many months before a day.
    MoreThanMonths(u32, &'static str),
    /// Nothing that is evaluated.
    Nothing,
}
use Asks::{
    Any, Average, AverageAndGround, Days, Ground, MoreThanMonths, Nothing, Presumed, Release, Short, Years,
};

/// Row, agent, body of law, what its paragraph asks for. The paragraphs of 29 CFR stand beside the first row of each
/// agent; levels are the action levels and limits of the same sections.
pub(crate) const PARAGRAPHS: &[(&str, &str, RuleSet, Asks)] = &[
    // 1910.1026(k)(1)(i)(A)-(C), 1926.1126(i)(1)(i), 1915.1026(i)(1)(i): 2.5 ug/m3, 30 or more days.
    ("ST001", "chromium_vi", GI, Average(2.5, UgPerM3, AtOrAbove, 30)),
    ("ST002", "chromium_vi", GI, Ground(SignsOrSymptoms)),
    ("ST003", "chromium_vi", GI, Release),
    ("ST004", "chromium_vi", CO, Average(2.5, UgPerM3, AtOrAbove, 30)),
    ("ST005", "chromium_vi", CO, Ground(SignsOrSymptoms)),
    ("ST006", "chromium_vi", CO, Release),
    ("ST007", "chromium_vi", MA, Average(2.5, UgPerM3, AtOrAbove, 30)),
    ("ST008", "chromium_vi", MA, Ground(SignsOrSymptoms)),
    ("ST009", "chromium_vi", MA, Release),
    // 1910.1025(j)(1)(i): more than 30 days at or above 30 ug/m3; (j)(2), (k): blood lead.
    ("ST010", "lead", GI, Average(30.0, UgPerM3, AtOrAbove, 31)),
    ("ST011", "lead", GI, Ground(BloodLead)),
    ("ST012", "lead", GI, Ground(Removal)),
    ("ST013", "lead", GI, Ground(Removal)),
    // 1926.62(j)(1)(i): any one day; (j)(1)(ii): more than 30 days in any consecutive 12 months; (d)(2): listed tasks.
    ("ST014", "lead", CO, Average(30.0, UgPerM3, AtOrAbove, 1)),
    ("ST015", "lead", CO, Average(30.0, UgPerM3, AtOrAbove, 31)),
    ("ST016", "lead", CO, Ground(BloodLead)),
    ("ST017", "lead", CO, Ground(Removal)),
    ("ST018", "lead", CO, Days(ListedTask, 1)),
    // 1910.1018(n)(1)(i): above 5 ug/m3, at least 30 days; for a total of ten years or more.
    ("ST019", "arsenic_inorganic", GI, Average(5.0, UgPerM3, Above, 30)),
    ("ST020", "arsenic_inorganic", GI, Years(5.0, UgPerM3, Above, 30, 10, None)),
    // 1910.1027(l)(1)(i): at or above 2.5 ug/m3 unless fewer than 30 days are shown; more than 60 months before 14
    // December 1992. 1926.1127(l)(1)(i)(A): or a listed task.
    ("ST021", "cadmium", GI, Presumed(2.5, UgPerM3, AtOrAbove, 30)),
    ("ST022", "cadmium", GI, MoreThanMonths(60, "1992-12-14")),
    ("ST023", "cadmium", GI, Ground(OtherBiological)),
    ("ST024", "cadmium", GI, Ground(Removal)),
    ("ST025", "cadmium", CO, Presumed(2.5, UgPerM3, AtOrAbove, 30)),
    ("ST025", "cadmium", CO, Days(ListedTask, 30)),
    // 1910.1024(k)(1)(i), 1926.1124(k)(1)(i): more than 30 days at or above 0.1 ug/m3.
    ("ST026", "beryllium", GI, Average(0.1, UgPerM3, AtOrAbove, 31)),
    ("ST027", "beryllium", GI, Ground(SignsOrSymptoms)),
    ("ST028", "beryllium", GI, Release),
    ("ST029", "beryllium", GI, Ground(Recommendation)),
    ("ST030", "beryllium", CO, Average(0.1, UgPerM3, AtOrAbove, 31)),
    ("ST031", "beryllium", CO, Ground(SignsOrSymptoms)),
    ("ST032", "beryllium", CO, Ground(Recommendation)),
    // 1910.1053(i)(1)(i): 25 ug/m3, 30 or more days; 1926.1153(h)(1)(i): 30 days on which a respirator is required.
    ("ST033", "silica_respirable", GI, Average(25.0, UgPerM3, AtOrAbove, 30)),
    ("ST034", "silica_respirable", CO, Days(RespiratorRequired, 30)),
    // 1910.1001(l)(1)(i): at or above 0.1 f/cc or 1.0 f/cc over 30 minutes. 1926.1101(m)(1)(i)(A): on 30 days, with class
    // I to III work together.
    ("ST035", "asbestos", GI, Average(0.1, FibresPerMl, AtOrAbove, 1)),
    ("ST035", "asbestos", GI, Short(1.0, FibresPerMl, AtOrAbove, 1)),
    ("ST036", "asbestos", CO, Average(0.1, FibresPerMl, AtOrAbove, 30)),
    ("ST036", "asbestos", CO, Short(1.0, FibresPerMl, AtOrAbove, 30)),
    ("ST036", "asbestos", CO, Days(ListedTask, 30)),
    // 1910.1028(i)(1)(i): 0.5 ppm on 30 days; 1 ppm or 5 ppm over 15 minutes on 10; above 10 ppm on 30 before 1987;
    // tyre building; (i)(4), (i)(2)(i)(E).
    ("ST037", "benzene", GI, Average(0.5, Ppm, AtOrAbove, 30)),
    ("ST038", "benzene", GI, Average(1.0, Ppm, AtOrAbove, 10)),
    ("ST038", "benzene", GI, Short(5.0, Ppm, AtOrAbove, 10)),
    ("ST039", "benzene", GI, Years(10.0, Ppm, Above, 30, 1, Some("1987-12-10"))),
    ("ST040", "benzene", GI, Days(ListedTask, 1)),
    ("ST041", "benzene", GI, Release),
    ("ST042", "benzene", GI, Days(RespiratorRequired, 30)),
    // 1910.1048(l)(1): at or above 0.5 ppm; exceeding 2 ppm over 15 minutes.
    ("ST043", "formaldehyde", GI, Average(0.5, Ppm, AtOrAbove, 1)),
    ("ST044", "formaldehyde", GI, Short(2.0, Ppm, Above, 1)),
    ("ST045", "formaldehyde", GI, Ground(SignsOrSymptoms)),
    ("ST046", "formaldehyde", GI, Release),
    ("ST047", "formaldehyde", GI, Days(RespiratorRequired, 1)),
    // 1910.1052(j)(1): 12.5 ppm on 30 days; above 25 ppm or 125 ppm over 15 minutes on 10.
    ("ST048", "methylene_chloride", GI, Average(12.5, Ppm, AtOrAbove, 30)),
    ("ST049", "methylene_chloride", GI, Average(25.0, Ppm, Above, 10)),
    ("ST050", "methylene_chloride", GI, Short(125.0, Ppm, Above, 10)),
    ("ST051", "methylene_chloride", GI, AverageAndGround(25.0, Ppm, Above)),
    ("ST052", "methylene_chloride", GI, Release),
    // 1910.1051(k)(1): 0.5 ppm on 30 days; 1 or 5 ppm on 10; ten years at 30 or 60 days; above 10 ppm on 30 in any year.
    ("ST053", "butadiene_1_3", GI, Average(0.5, Ppm, AtOrAbove, 30)),
    ("ST054", "butadiene_1_3", GI, Average(1.0, Ppm, AtOrAbove, 10)),
    ("ST054", "butadiene_1_3", GI, Short(5.0, Ppm, AtOrAbove, 10)),
    ("ST055", "butadiene_1_3", GI, Years(1.0, Ppm, AtOrAbove, 30, 10, None)),
    ("ST056", "butadiene_1_3", GI, Years(0.5, Ppm, AtOrAbove, 60, 10, None)),
    ("ST057", "butadiene_1_3", GI, Years(10.0, Ppm, Above, 30, 1, None)),
    ("ST058", "butadiene_1_3", GI, Release),
    // 1910.1047(i)(1)(i): 0.5 ppm on 30 days.
    ("ST059", "ethylene_oxide", GI, Average(0.5, Ppm, AtOrAbove, 30)),
    ("ST060", "ethylene_oxide", GI, Release),
    // 1910.1045(n)(1)(i): at or above 1 ppm. 1910.1017(k): in excess of 0.5 ppm.
    ("ST061", "acrylonitrile", GI, Average(1.0, Ppm, AtOrAbove, 1)),
    ("ST062", "vinyl_chloride", GI, Average(0.5, Ppm, Above, 1)),
    ("ST063", "vinyl_chloride", GI, Release),
    // 1910.1050(m)(1)(i), 1926.60(n)(1)(i): 5 ppb on 30 days, skin contact on 15.
    ("ST064", "methylenedianiline", GI, Average(5.0, Ppb, AtOrAbove, 30)),
    ("ST065", "methylenedianiline", GI, Days(SkinContact, 15)),
    ("ST066", "methylenedianiline", GI, Release),
    ("ST066", "methylenedianiline", GI, Ground(SignsOrSymptoms)),
    ("ST067", "methylenedianiline", CO, Average(5.0, Ppb, AtOrAbove, 30)),
    ("ST068", "methylenedianiline", CO, Days(SkinContact, 15)),
    ("ST069", "methylenedianiline", CO, Release),
    ("ST069", "methylenedianiline", CO, Ground(SignsOrSymptoms)),
    // 1910.1044(m)(1)(i): work in regulated areas; (i)(5).
    ("ST070", "dbcp", GI, Days(RegulatedArea, 1)),
    ("ST071", "dbcp", GI, Release),
    // 1910.1043(h)(2): any exposure; (h)(3)(i): above the action level, 100 ug/m3 in yarn.
    ("ST072", "cotton_yarn", GI, Any),
    ("ST073", "cotton_yarn", GI, Average(100.0, UgPerM3, Above, 1)),
    // 1910.1029(j)(1)(i): at least 30 days a year in a regulated area.
    ("ST074", "coke_oven_emissions", GI, Days(RegulatedArea, 30)),
    // 1910.95(c)(1): 85 dBA or more. 1926.52(d)(1): above 90 dBA (from memory).
    ("ST075", "noise", GI, Average(85.0, DbA, AtOrAbove, 1)),
    ("ST076", "noise", CO, Average(90.0, DbA, Above, 1)),
    // 1910.134(e), 1910.120(f)(2): about no agent (from memory).
    ("ST077", "respirator_use", GI, Nothing),
    ("ST078", "hazwoper", GI, Nothing),
    // 1926.1127(l)(1)(i)(B): more than 12 months before the effective date; (l)(3)(ii), (iv); (l)(7). 1910.1027(l)(7).
    ("ST079", "cadmium", CO, MoreThanMonths(12, "1992-12-14")),
    ("ST080", "cadmium", CO, Ground(OtherBiological)),
    ("ST081", "cadmium", CO, Ground(Removal)),
    ("ST082", "cadmium", GI, Release),
    ("ST083", "cadmium", CO, Release),
    // 1910.1048(l)(8)(v): removed on the physician's recommendation.
    ("ST084", "formaldehyde", GI, Ground(Removal)),
];
