//! HTML for people: it translates between browsers and the use cases and decides nothing.
//!
//! To add a page, write a handler `async fn(Pages, Visit) -> Result<Answer, Stopped>` and put a [`Page`]
//! into the list of its room; router, menu and the tests that walk every page follow from that.

pub mod account_names;
pub mod accounts;
pub mod anchors;
pub mod answer;
pub mod assets;
pub mod backups;
pub mod changes_told;
pub mod charts;
pub mod control_titles;
pub mod cookies;
pub mod correction;
pub mod correction_fields;
pub mod correction_kinds;
pub mod corrections;
pub mod cross_site;
pub mod dispatch;
pub mod duties;
pub mod duty_entry;
pub mod entry_faults;
pub mod entry_form;
pub mod entry_known;
pub mod entry_reading;
pub mod entry_shown;
pub mod event_entry;
pub mod examiner_packet;
pub mod figures;
pub mod find;
pub mod form;
pub mod four_parts;
pub mod frame;
pub mod group;
pub mod journal;
pub mod journal_entry;
pub mod lab_check;
pub mod lab_draft;
pub mod lab_file;
pub mod lab_report;
pub mod letter;
pub mod limits_told;
pub mod marks;
pub mod moment;
pub mod more_results;
pub mod names;
pub mod needs_me;
pub mod one_time_code;
pub mod own_account;
pub mod profile_table;
pub mod qr;
pub mod reading;
pub mod registered_sites;
pub mod remarks;
pub mod result_told;
pub mod sample;
pub mod sampling;
pub mod sampling_event;
pub mod second_factor;
pub mod settings;
pub mod sign_in;
pub mod site;
pub mod sites;
pub mod standing_told;
pub mod stopped;
pub mod table;
pub mod task;
pub mod texts;
pub mod told;
pub mod typed_codes;
pub mod typed_quantities;
pub mod typed_times;
pub mod verdict_told;
pub mod views;
pub mod visit;
pub mod who_looked;
pub mod worker;
pub mod worker_line;
pub mod worker_told;
pub mod working_told;
pub mod writing;
pub mod writing_once;

use crate::pages::settings::PageSettings;
use crate::pages::table::Page;
use crate::registry::writer::Registry;
use std::sync::Arc;

/// What a page needs of the program. Cheap to clone.
#[derive(Debug, Clone)]
pub struct Pages {
    /// The registry.
    pub registry: Registry,
    /// How the pages are reached.
    pub settings: Arc<PageSettings>,
}

impl Pages {
    /// Pages over a registry.
    pub fn new(registry: Registry, settings: PageSettings) -> Self {
        Self { registry, settings: Arc::new(settings) }
    }
}

/// Every room's pages, in the order of the menu.
pub(crate) fn all_pages() -> Vec<Page> {
    let mut all = needs_me::pages();
    all.extend(sites::pages());
    all.extend(site::pages());
    all.extend(group::pages());
    all.extend(task::pages());
    all.extend(worker::pages());
    all.extend(sampling::pages());
    all.extend(event_entry::pages());
    all.extend(lab_file::pages());
    all.extend(lab_report::pages());
    all.extend(sampling_event::pages());
    all.extend(sample::pages());
    all.extend(correction::pages());
    all.extend(find::pages());
    all.extend(letter::pages());
    all.extend(duties::pages());
    all.extend(accounts::pages());
    all.extend(registered_sites::pages());
    all.extend(journal::pages());
    all.extend(journal_entry::pages());
    all.extend(who_looked::pages());
    all.extend(anchors::pages());
    all.extend(backups::pages());
    all.extend(sign_in::pages());
    all.extend(one_time_code::pages());
    all.extend(second_factor::pages());
    all.extend(own_account::pages());
    all.extend(assets::pages());
    all
}
