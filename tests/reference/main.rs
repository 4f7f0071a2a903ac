//! Published and independently computed worked examples, each with its source and tolerance in
//! `worked-examples.json`: against the functions, and against the calculations of a running service.
//!
//! `TEST_DATABASE_URL=postgres://…` runs the service on PostgreSQL. With `-- --nocapture` every figure that an answer
//! has no field for is named with the reason, and a last line says how many examples and figures were compared.

#[cfg(test)]
mod area_a;
#[cfg(test)]
mod area_b;
#[cfg(test)]
mod area_c;
#[cfg(test)]
mod area_d;
#[cfg(test)]
mod area_e;
#[cfg(test)]
mod area_f;
#[cfg(test)]
mod area_g;
#[cfg(test)]
mod area_h;
#[cfg(test)]
mod area_i;
#[cfg(test)]
mod area_j;
#[cfg(test)]
mod area_k;
#[cfg(test)]
mod case;
#[cfg(test)]
mod every_example;
#[cfg(test)]
#[path = "../api/harness.rs"]
#[expect(dead_code, reason = "made for the tests of the API, which change things too")]
mod harness;
#[cfg(test)]
mod over_http;
