//! Which body of law is in force at a site or for a group.

crate::words! {
    /// A rule set: the part of the law that governs a place of work.
    pub enum RuleSet {
        /// 29 CFR part 1910.
        UsGeneralIndustry = "us_general_industry",
        /// 29 CFR part 1926.
        UsConstruction = "us_construction",
        /// 29 CFR part 1915.
        UsMaritime = "us_maritime",
    }
}
