//! Forms that write: one transaction a form, all of it or nothing.

use crate::pages::Pages;
use crate::pages::visit::Visit;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;
use std::pin::Pin;

/// The work of a use case inside a writing form.
pub type Work<'c, T> = Pin<Box<dyn Future<Output = Result<T, Refusal>> + Send + 'c>>;

/// Carries a form out.
///
/// # Errors
/// Whatever the use case refuses; then nothing is stored.
pub async fn write<T, W>(pages: &Pages, visit: &Visit, work: W) -> Result<T, Refusal>
where
    W: for<'c> FnOnce(&'c mut Change) -> Work<'c, T> + Send,
{
    let mut change = pages.registry.begin_plain(&visit.caller()).await?;
    let made = work(&mut change).await?;
    pages.registry.commit(change, None).await?;
    Ok(made)
}
