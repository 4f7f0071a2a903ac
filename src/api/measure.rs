//! What is measured of the service itself: requests by route and status, and how much work facts make; never of whom.

use crate::registry::writer::Registry;
use crate::store::backend::asked_so_far;
use metrics::{Label, with_local_recorder};
use metrics_exporter_prometheus::{PrometheusBuilder, PrometheusHandle, PrometheusRecorder};
use std::time::Duration;

/// Upper ends of the buckets of the latency histogram, in seconds.
const BUCKETS: &[f64] = &[0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0];

/// Counters of one service; several in one process do not mix.
pub struct Measures {
    recorder: PrometheusRecorder,
    handle: PrometheusHandle,
}

impl std::fmt::Debug for Measures {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Measures").finish_non_exhaustive()
    }
}

impl Measures {
    /// Nothing counted yet.
    pub fn new() -> Self {
        let builder = PrometheusBuilder::new().set_buckets(BUCKETS).expect("there are buckets");
        let recorder = builder.build_recorder();
        let handle = recorder.handle();
        with_local_recorder(&recorder, || {
            metrics::describe_counter!("doseward_requests_total", "Requests answered, by route and status.");
            metrics::describe_counter!(
                "doseward_conclusions_worked_out_total",
                "Stored conclusions worked out again by following marks, by kind."
            );
            metrics::describe_counter!(
                "doseward_marks_set_total",
                "Marks set on what a fact or a new day made stale, by kind; one that was set already counts again."
            );
            metrics::describe_counter!(
                "doseward_database_statements_total",
                "Statements sent to the database."
            );
            metrics::describe_counter!("doseward_database_rows_total", "Rows that the database gave back.");
            metrics::describe_histogram!(
                "doseward_request_duration_seconds",
                metrics::Unit::Seconds,
                "Time from a request's head to its answer's head, by route and status."
            );
        });
        Self { recorder, handle }
    }

    /// Counts an answered request.
    pub fn answered(&self, method: &str, route: &str, status: u16, took: Duration) {
        let labels = vec![
            Label::new("method", method.to_owned()),
            Label::new("route", route.to_owned()),
            Label::new("status", status.to_string()),
        ];
        with_local_recorder(&self.recorder, || {
            metrics::counter!("doseward_requests_total", labels.clone()).increment(1);
            metrics::histogram!("doseward_request_duration_seconds", labels).record(took.as_secs_f64());
        });
    }

    /// Everything in the Prometheus text format, with what a registry counts of its own work.
    pub fn render(&self, registry: &Registry) -> String {
        let counts = &registry.recompute.counts;
        let (statements, rows) = asked_so_far();
        with_local_recorder(&self.recorder, || {
            for (kind, many) in counts.worked_out.all() {
                metrics::counter!("doseward_conclusions_worked_out_total", "kind" => kind.as_str())
                    .absolute(many);
            }
            for (kind, many) in counts.marked.all() {
                metrics::counter!("doseward_marks_set_total", "kind" => kind.as_str()).absolute(many);
            }
            metrics::counter!("doseward_database_statements_total").absolute(statements);
            metrics::counter!("doseward_database_rows_total").absolute(rows);
        });
        self.handle.run_upkeep();
        self.handle.render()
    }
}

impl Default for Measures {
    fn default() -> Self {
        Self::new()
    }
}
