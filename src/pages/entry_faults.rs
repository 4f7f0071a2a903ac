//! Faults that the use case found in a sampling event, put beside the fields in which they are mended.

use crate::model::shape::Faults;
use crate::pages::entry_form::{READINGS, Typed};
use crate::pages::entry_reading::Reading;

impl Reading {
    /// Takes over what the use case found, beside the fields it is about.
    pub fn take(&mut self, faults: &Faults, typed: &Typed) {
        for fault in faults.iter() {
            let told = |told: &String| {
                fault
                    .pointer
                    .strip_prefix(told.as_str())
                    .is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
            };
            if self.told.iter().any(told) {
                continue;
            }
            let field = self.field_of(&fault.pointer, typed);
            let known = |(name, detail): &(String, String)| *name == field && *detail == fault.detail;
            if !self.wrong.all().iter().any(known) {
                self.wrong.note(&field, fault.detail.clone());
            }
        }
    }

    /// The field that a pointer is about.
    fn field_of(&self, pointer: &str, typed: &Typed) -> String {
        let mut parts = pointer.trim_start_matches('/').split('/');
        let head = parts.next().unwrap_or_default();
        if head != "samples" {
            let known = crate::pages::entry_form::DAY.contains(&head);
            return format!("d-{}", if known { head } else { "reference" });
        }
        let row = parts.next().and_then(|k| k.parse::<usize>().ok()).and_then(|k| self.rows.get(k)).copied();
        let Some(n) = row else { return "r0-number".into() };
        let row = &typed.rows[n];
        // What is said of the whole day is mended there, unless the sample says something else.
        let of_day = |field: &str, of_row: &str| match row.given(of_row) {
            Some(_) => format!("r{n}-{of_row}"),
            None => format!("d-{field}"),
        };
        match parts.next().unwrap_or_default() {
            "shift_date" => of_day("shift_date", "date"),
            "agent_codes" => of_day("agents", "agents"),
            "task_id" => of_day("task", "task"),
            "method" => of_day("method", "method"),
            "medium" => of_day("medium", "medium"),
            "medium_lot" => of_day("lot", "lot"),
            "calibrator" => "d-calibrator".into(),
            "calibrated_on" => "d-calibrated_on".into(),
            "worker_id" => format!("r{n}-worker"),
            "group_id" => format!("r{n}-group"),
            "runs" | "minutes_run" => format!("r{n}-runs"),
            "flow_before" => format!("r{n}-before"),
            "flow_after" => format!("r{n}-after"),
            "control_ids_running" => format!("r{n}-controls"),
            "running_share" => format!("r{n}-share"),
            "arc_minutes" => format!("r{n}-arc"),
            "ppe_worn" => format!("r{n}-ppe"),
            "on_site_results" => {
                // The list holds those that were typed, in their order.
                let typed = READINGS.iter().filter(|[_, value, _]| row.given(value).is_some());
                let at = parts.next().and_then(|at| at.parse().ok()).unwrap_or_default();
                format!("r{n}-{}", typed.map(|[_, value, _]| value).nth(at).unwrap_or(&"read_value"))
            }
            own @ ("number" | "position" | "covers" | "duplicate_of" | "outcome" | "sampler_kind"
            | "location" | "pump" | "materials" | "representative" | "note") => format!("r{n}-{own}"),
            _ => format!("r{n}-number"),
        }
    }
}
