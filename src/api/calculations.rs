//! The registry's own mathematics on numbers given in a request.

use crate::api::App;
use crate::api::endpoint::{Access, Endpoint, Schema};
use crate::api::problem::Problem;
use crate::api::questions::sound;
use crate::api::reply::Reply;
use crate::api::request::Request;
use crate::calculations::working::Working;
use crate::calculations::{Calculation, WithEach, with_each};
use crate::model::shape::{Faults, Shape as _};

/// The endpoints of this room.
pub(crate) fn endpoints() -> Vec<Endpoint> {
    let mut endpoints = Endpoints(Vec::new());
    with_each(&mut endpoints);
    endpoints.0
}

/// An endpoint for each calculation.
struct Endpoints(Vec<Endpoint>);

impl WithEach for Endpoints {
    fn with<C: Calculation + 'static>(&mut self) {
        self.0.push(of::<C>());
    }
}

/// The endpoint of one calculation.
fn of<C: Calculation + 'static>() -> Endpoint {
    Endpoint::post(&format!("/calculations/{}", C::NAME), Access::AnyAccount, answer::<C>)
        .says("calculations", C::SUMMARY)
        .more(C::MORE)
        .asks::<bool>("working", "Show the steps, with formula, inputs, result and source.")
        .takes::<C::Input>(format!("{}Input", C::TITLE), C::example())
        .answers(
            200,
            "The figures; what cannot be computed is absent, with a flag.",
            Schema::of::<C::Answer>(C::TITLE),
        )
}

async fn answer<C: Calculation + 'static>(_: App, request: Request) -> Result<Reply, Problem> {
    let mut faults = Faults::default();
    let asked = request.flag("working", &mut faults);
    sound(faults)?;
    let input = C::Input::parse(&request.json()?)?;
    // A posterior of thousands of results takes its time; requests that wait for the database do not wait for it.
    let (answer, steps) = tokio::task::spawn_blocking(move || {
        let mut working = Working::new(asked);
        let answer = C::answer(input, &mut working).map(|answer| answer.to_json());
        (answer, working.into_steps())
    })
    .await
    .map_err(Problem::internal)?;
    let mut answer = answer?;
    if let Some(steps) = steps {
        answer["working"] = steps.to_json();
    }
    Ok(Reply::ok(&answer))
}
