//! The numbers of the standards that the reading day by day needs, written once more from the paragraphs.
//!
//! Values are thousandths of the unit, so that everything is reckoned in whole numbers. The editions are those named in
//! the tables of the pack; the paragraphs were read there.

/// A way down for a group's standing.
#[derive(Debug, Clone, Copy)]
pub(crate) struct WayDown {
    /// What both results lie below.
    pub(crate) upper: i64,
    /// Whether exactly at it is enough.
    pub(crate) at: bool,
    /// How many days apart.
    pub(crate) apart: usize,
    /// Whether those are working days.
    pub(crate) working: bool,
    /// Where it leads: 2 at or above the action level, 1 below it.
    pub(crate) to: u8,
}

/// What a clause looks at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Looks {
    /// The 8-hour average at this value, or only above it; the standing from which an assigned day counts.
    Average(i64, bool, u8),
    /// The average over the minutes of the short-term limit, likewise.
    Short(i64, bool),
}

/// By when the first examination is due.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Due {
    /// So many days after the first counted day of the first window that has enough.
    DaysAfterFirst(u64),
    /// No date in the text: the day on which the registry learned of it.
    Learned,
}

/// A clause.
#[derive(Debug)]
pub(crate) struct Clause {
    /// Row of the pack.
    pub(crate) row: &'static str,
    /// Whether it binds in general industry, and in construction.
    pub(crate) binds: [bool; 2],
    /// What it looks at; dates of several are pooled.
    pub(crate) looks: &'static [Looks],
    /// On how many days.
    pub(crate) days: usize,
    /// By when.
    pub(crate) due: Due,
}

/// An agent with its levels.
#[derive(Debug)]
pub(crate) struct Substance {
    /// Its code.
    pub(crate) code: &'static str,
    /// The unit of its limit.
    pub(crate) unit: &'static str,
    /// The action level.
    pub(crate) action_level: i64,
    /// The limit over eight hours.
    pub(crate) limit: i64,
    /// The limit over fifteen minutes.
    pub(crate) short: Option<i64>,
    /// The ways down in general industry, and in construction.
    pub(crate) down: [&'static [WayDown]; 2],
    /// The clauses about air.
    pub(crate) clauses: &'static [Clause],
}

const fn calendar(upper: i64, at: bool, to: u8) -> WayDown {
    WayDown { upper, at, apart: 7, working: false, to }
}

const BOTH: [bool; 2] = [true, true];
const GENERAL: [bool; 2] = [true, false];
const CONSTRUCTION: [bool; 2] = [false, true];
const FIRST_DAY: Due = Due::DaysAfterFirst(0);

/// The agents of the model: thirty days, more than thirty, ten of an average or a short-term value, a single one.
pub(crate) const SUBSTANCES: [Substance; 5] = [
    Substance {
        code: "chromium_vi",
        unit: "ug/m3",
        // 29 CFR 1910.1026(b), (c); 1926.1126(b), (c).
        action_level: 2_500,
        limit: 5_000,
        short: None,
        // 1910.1026(d)(2)(v), 1926.1126(d)(2)(v).
        down: [&[calendar(2_500, false, 1)], &[calendar(2_500, false, 1)]],
        clauses: &[
            // 1910.1026(k)(1)(i)(A), (k)(2): 30 or more days a year; within 30 days after initial assignment.
            Clause {
                row: "ST001",
                binds: GENERAL,
                looks: &[Looks::Average(2_500, false, 2)],
                days: 30,
                due: Due::DaysAfterFirst(30),
            },
            // 1926.1126(i)(1)(i)(A), (i)(2): the same in construction.
            Clause {
                row: "ST004",
                binds: CONSTRUCTION,
                looks: &[Looks::Average(2_500, false, 2)],
                days: 30,
                due: Due::DaysAfterFirst(30),
            },
        ],
    },
    Substance {
        code: "lead",
        unit: "ug/m3",
        // 29 CFR 1910.1025(b), (c); 1926.62(b), (c).
        action_level: 30_000,
        limit: 50_000,
        short: None,
        // 1910.1025(d)(6)(ii), (iii): below; 1926.62(d)(6)(iii): at or below the limit.
        down: [
            &[calendar(30_000, false, 1), calendar(50_000, false, 2)],
            &[calendar(30_000, false, 1), calendar(50_000, true, 2)],
        ],
        clauses: &[
            // 1910.1025(j)(1)(i), (j)(3)(i)(B): more than 30 days; before the first assignment.
            Clause {
                row: "ST010",
                binds: GENERAL,
                looks: &[Looks::Average(30_000, false, 2)],
                days: 31,
                due: FIRST_DAY,
            },
            // 1926.62(j)(1)(i): on any day.
            Clause {
                row: "ST014",
                binds: CONSTRUCTION,
                looks: &[Looks::Average(30_000, false, 2)],
                days: 1,
                due: FIRST_DAY,
            },
            // 1926.62(j)(1)(ii): more than 30 days; no date in the text.
            Clause {
                row: "ST015",
                binds: CONSTRUCTION,
                looks: &[Looks::Average(30_000, false, 2)],
                days: 31,
                due: Due::Learned,
            },
        ],
    },
    Substance {
        code: "benzene",
        unit: "[ppm]",
        // 29 CFR 1910.1028(b), (c).
        action_level: 500,
        limit: 1_000,
        short: Some(5_000),
        // 1910.1028(e)(3)(iii), (e)(4)(ii).
        down: [
            &[calendar(1_000, true, 2), calendar(500, false, 1)],
            &[calendar(1_000, true, 2), calendar(500, false, 1)],
        ],
        clauses: &[
            // 1910.1028(i)(1)(i), first clause; (i)(2): before initial assignment.
            Clause {
                row: "ST037",
                binds: BOTH,
                looks: &[Looks::Average(500, false, 2)],
                days: 30,
                due: FIRST_DAY,
            },
            // (i)(1)(i), second clause: at or above the limits, either of them, on 10 days.
            Clause {
                row: "ST038",
                binds: BOTH,
                looks: &[Looks::Average(1_000, false, 3), Looks::Short(5_000, false)],
                days: 10,
                due: FIRST_DAY,
            },
        ],
    },
    Substance {
        code: "methylene_chloride",
        unit: "[ppm]",
        // 29 CFR 1910.1052(b), (c).
        action_level: 12_500,
        limit: 25_000,
        short: Some(125_000),
        // Note to 1910.1052(d)(3).
        down: [
            &[calendar(25_000, true, 2), calendar(12_500, false, 1)],
            &[calendar(25_000, true, 2), calendar(12_500, false, 1)],
        ],
        clauses: &[
            // 1910.1052(j)(1)(i): at or above the action level on 30 days; above a limit on 10.
            Clause {
                row: "ST048",
                binds: BOTH,
                looks: &[Looks::Average(12_500, false, 2)],
                days: 30,
                due: FIRST_DAY,
            },
            Clause {
                row: "ST049",
                binds: BOTH,
                looks: &[Looks::Average(25_000, true, 3)],
                days: 10,
                due: FIRST_DAY,
            },
            Clause {
                row: "ST050",
                binds: BOTH,
                looks: &[Looks::Short(125_000, true)],
                days: 10,
                due: FIRST_DAY,
            },
        ],
    },
    Substance {
        code: "vinyl_chloride",
        unit: "[ppm]",
        // 29 CFR 1910.1017(b)(1), (c)(1).
        action_level: 500,
        limit: 1_000,
        // The ceiling of (c)(2) over fifteen minutes has no clause.
        short: None,
        // (d)(2)(iii): at or below, five working days apart.
        down: [
            &[WayDown { upper: 500, at: true, apart: 5, working: true, to: 1 }],
            &[WayDown { upper: 500, at: true, apart: 5, working: true, to: 1 }],
        ],
        // (k): in excess of the action level; a standing at it counts, the stricter side.
        clauses: &[Clause {
            row: "ST062",
            binds: BOTH,
            looks: &[Looks::Average(500, true, 2)],
            days: 1,
            due: FIRST_DAY,
        }],
    },
];

/// The weekdays on which federal offices are closed. U.S. Office of Personnel Management, lists of federal holidays for
/// 2023 to 2026, from memory.
pub(crate) const FEDERAL_HOLIDAYS: [&str; 34] = [
    "2023-11-10",
    "2023-11-23",
    "2023-12-25",
    "2024-01-01",
    "2024-01-15",
    "2024-02-19",
    "2024-05-27",
    "2024-06-19",
    "2024-07-04",
    "2024-09-02",
    "2024-10-14",
    "2024-11-11",
    "2024-11-28",
    "2024-12-25",
    "2025-01-01",
    "2025-01-20",
    "2025-02-17",
    "2025-05-26",
    "2025-06-19",
    "2025-07-04",
    "2025-09-01",
    "2025-10-13",
    "2025-11-11",
    "2025-11-27",
    "2025-12-25",
    "2026-01-01",
    "2026-01-19",
    "2026-02-16",
    "2026-05-25",
    "2026-06-19",
    "2026-07-03",
    "2026-09-07",
    "2026-10-12",
    "2026-11-11",
];
