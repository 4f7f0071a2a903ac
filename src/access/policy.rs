//! The one policy table: which role may do which kind of thing.

use crate::model::facts::account::Role;

/// A kind of thing that a caller may be allowed to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Action {
    /// Make accounts and tokens, see and revoke them.
    ManageAccounts,
    /// Make sites.
    ManageSites,
    /// See sites, agents, limits.
    ReadReference,
    /// Make agents and limits, and what they are compared with.
    ManageAgents,
    /// Record groups, tasks, controls and what belongs to them; judgements, options, holidays.
    RecordGroups,
    /// See groups, tasks, controls and what belongs to them.
    ReadGroups,
    /// Record workers, employments, assignments, days.
    RecordWorkers,
    /// See workers and what belongs to them.
    ReadWorkers,
    /// Record sampling events, samples, laboratory reports, direct readings, releases.
    RecordSamples,
    /// See samples and what is concluded from them: averages, profiles, verdicts.
    ReadSamples,
    /// Accept results, choose which stands.
    Accept,
    /// Void facts and withdraw a voiding.
    Void,
    /// See worker histories.
    ReadHistories,
    /// See duties.
    ReadDuties,
    /// Act on duties.
    ActOnDuties,
    /// Issue letters to workers.
    IssueLetters,
    /// Record and see medical grounds.
    MedicalGrounds,
    /// See the journal's envelopes.
    ReadJournal,
    /// Prove the journal.
    VerifyJournal,
    /// Take data out as files.
    Export,
    /// Take the whole record of a site, a worker or all out, to be handed over.
    HandOver,
    /// Merge worker entries and take them apart.
    MergeWorkers,
    /// Hold records; propose disposals and carry them out.
    ManageRetention,
    /// See holds and disposals, and until when a worker's records are kept.
    ReadRetention,
    /// See which entries of workers are one person, at whatever sites.
    ReadAliases,
    /// Oversee who looked at whom.
    ReadAccessLog,
    /// See who looked at a worker, to tell him.
    ReadAccessOfWorkers,
}

impl Action {
    /// Every action.
    pub const ALL: &'static [Self] = &[
        Self::ManageAccounts,
        Self::ManageSites,
        Self::ReadReference,
        Self::ManageAgents,
        Self::RecordGroups,
        Self::ReadGroups,
        Self::RecordWorkers,
        Self::ReadWorkers,
        Self::RecordSamples,
        Self::ReadSamples,
        Self::Accept,
        Self::Void,
        Self::ReadHistories,
        Self::ReadDuties,
        Self::ActOnDuties,
        Self::IssueLetters,
        Self::MedicalGrounds,
        Self::ReadJournal,
        Self::VerifyJournal,
        Self::Export,
        Self::HandOver,
        Self::MergeWorkers,
        Self::ManageRetention,
        Self::ReadRetention,
        Self::ReadAliases,
        Self::ReadAccessLog,
        Self::ReadAccessOfWorkers,
    ];

    /// Whether the action concerns the whole registry, so that a role on named sites is not enough.
    pub fn needs_all_sites(self, role: Role) -> bool {
        match self {
            Self::ManageSites | Self::ManageAgents | Self::MergeWorkers => role == Role::Hygienist,
            // A line of the log may tell that a worker is known at another site.
            Self::ManageAccounts
            | Self::VerifyJournal
            | Self::HandOver
            | Self::ManageRetention
            | Self::ReadRetention
            | Self::ReadAliases
            | Self::ReadAccessLog
            | Self::ReadAccessOfWorkers => true,
            _ => false,
        }
    }
}

/// Whether a role may do an action at all (on the sites it is given for).
pub fn allows(role: Role, action: Action) -> bool {
    use Action as A;
    match role {
        Role::Administrator => matches!(
            action,
            A::ManageAccounts
                | A::ManageSites
                | A::ReadReference
                | A::VerifyJournal
                | A::ReadJournal
                | A::ManageRetention
                | A::ReadRetention
                | A::ReadAccessLog
        ),
        Role::Hygienist => !matches!(action, A::ManageAccounts | A::MedicalGrounds | A::ReadAccessLog),
        Role::Coordinator => matches!(
            action,
            A::ReadReference
                | A::ReadGroups
                | A::RecordWorkers
                | A::ReadWorkers
                | A::ReadAliases
                | A::RecordSamples
                | A::ReadSamples
                | A::ReadHistories
                | A::ReadDuties
                | A::ActOnDuties
                | A::IssueLetters
                | A::ReadJournal
                | A::Export
        ),
        Role::Physician => matches!(
            action,
            A::ReadReference
                | A::ReadGroups
                | A::ReadWorkers
                | A::ReadAliases
                | A::ReadSamples
                | A::ReadHistories
                | A::ReadDuties
                | A::ActOnDuties
                | A::MedicalGrounds
                | A::ReadJournal
                | A::Export
                | A::ReadAccessOfWorkers
        ),
        Role::Corporate => matches!(
            action,
            A::ReadReference
                | A::ReadGroups
                | A::ReadWorkers
                | A::ReadAliases
                | A::ReadSamples
                | A::ReadHistories
                | A::ReadDuties
                | A::ReadJournal
                | A::VerifyJournal
                | A::Export
                | A::HandOver
                | A::ReadRetention
                | A::ReadAccessLog
                | A::ReadAccessOfWorkers
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_administrator_sees_no_exposure_of_a_named_worker() {
        for action in [
            Action::ReadWorkers,
            Action::ReadSamples,
            Action::ReadHistories,
            Action::ReadDuties,
            Action::Export,
        ] {
            assert!(!allows(Role::Administrator, action), "{action:?}");
        }
    }

    #[test]
    fn corporate_changes_nothing() {
        let reading = [
            Action::ReadReference,
            Action::ReadGroups,
            Action::ReadWorkers,
            Action::ReadAliases,
            Action::ReadSamples,
            Action::ReadHistories,
            Action::ReadDuties,
            Action::ReadJournal,
            Action::VerifyJournal,
            Action::Export,
            Action::HandOver,
            Action::ReadRetention,
            Action::ReadAccessLog,
            Action::ReadAccessOfWorkers,
        ];
        for action in Action::ALL {
            assert_eq!(allows(Role::Corporate, *action), reading.contains(action), "{action:?}");
        }
    }

    #[test]
    fn medical_grounds_are_the_physicians_alone() {
        for role in Role::ALL {
            assert_eq!(allows(*role, Action::MedicalGrounds), *role == Role::Physician);
        }
    }
}
