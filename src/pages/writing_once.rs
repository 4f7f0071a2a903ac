//! Forms that write once, however often they are sent: the second time leads to what the first has made.

use crate::pages::Pages;
use crate::pages::visit::Visit;
use crate::pages::writing::Work;
use crate::registry::refusal::Refusal;
use crate::registry::writer::{Begun, Change};
use crate::store::idempotency::{Answer, Asked};
use axum::http::StatusCode;
use sha2::{Digest as _, Sha256};

/// Carries a form out, once for its key; gives the address of what was made.
///
/// # Errors
/// Whatever the use case refuses; then nothing is stored, and the key may be used again.
pub async fn write_once<W>(
    pages: &Pages,
    visit: &Visit,
    (key, sent): (&str, &str),
    work: W,
) -> Result<String, Refusal>
where
    W: for<'c> FnOnce(&'c mut Change) -> Work<'c, String> + Send,
{
    let caller = visit.caller();
    let asked = (!key.is_empty() && key.len() <= 100).then(|| Asked {
        key: key.to_owned(),
        route: format!("page {}", visit.path),
        body_digest: Sha256::digest(sent.as_bytes()).into(),
    });
    let mut change = match pages.registry.begin(&caller, asked).await {
        Ok(Begun::Answered(answer)) => return Ok(answer.location.unwrap_or_else(|| "/".into())),
        Ok(Begun::Change(change)) => *change,
        // Another form under the key of one that was carried out: natural keys decide what becomes of it.
        Err(Refusal::KeyReused) => pages.registry.begin_plain(&caller).await?,
        Err(other) => return Err(other),
    };
    let address = work(&mut change).await?;
    let answer = Answer {
        status: StatusCode::SEE_OTHER.as_u16().into(),
        location: Some(address.clone()),
        body: String::new(),
    };
    pages.registry.commit(change, Some(&answer)).await?;
    Ok(address)
}
