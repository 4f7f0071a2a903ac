//! Files of many rows, written a part at a time from one snapshot, so that memory holds a part and never the whole.

use crate::access::caller::Caller;
use crate::export::csv::{self, Reader};
use crate::model::shape::Shape;
use crate::registry::conclude::history_rows::{HistoryRow, Moment, entries_in_sight, histories};
use crate::registry::journal::{JournalCursor, JournalEntryView, JournalQuestion, page, workers_in_sight};
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use serde_json::Value;
use std::collections::VecDeque;
use uuid::Uuid;

/// How many workers make a part.
const WORKERS: usize = 20;
/// How many entries of the journal make a part.
const ENTRIES: i64 = 500;

/// How a file is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// Rows of a table.
    Csv,
    /// An array.
    Json,
}

/// The rows or items of a file as it grows.
#[derive(Debug)]
struct Growing {
    format: Format,
    reader: Reader,
    rows: usize,
    begun: bool,
    ended: bool,
}

impl Growing {
    fn new(format: Format, reader: Reader) -> Self {
        Self { format, reader, rows: 0, begun: false, ended: false }
    }

    /// The next part: rows of the table, or items of the array.
    fn part<T: Shape>(&mut self, rows: &[T], items: impl Iterator<Item = Value>, last: bool) -> Vec<u8> {
        let mut part = Vec::new();
        if self.format == Format::Csv {
            if !self.begun {
                part.extend(csv::header::<T>());
            }
            part.extend(csv::lines(rows, self.reader));
            self.rows += rows.len();
        } else {
            if !self.begun {
                part.push(b'[');
            }
            for item in items {
                if self.rows > 0 {
                    part.push(b',');
                }
                part.extend(item.to_string().into_bytes());
                self.rows += 1;
            }
            if last {
                part.push(b']');
            }
        }
        self.begun = true;
        self.ended = last;
        part
    }
}

/// A file that is being taken out.
#[derive(Debug)]
pub struct Taken {
    caller: Caller,
    growing: Growing,
    what: What,
    /// How many workers the caller sees, and so may be named.
    pub workers: usize,
}

#[derive(Debug)]
enum What {
    Histories { moment: Moment, waiting: VecDeque<Uuid> },
    Journal { moment: Moment, after: Option<JournalCursor> },
}

impl Taken {
    /// Every history in sight: rows are intervals, items whole histories.
    ///
    /// # Errors
    /// [`Refusal::Forbidden`], or when storage fails.
    pub async fn histories(
        tx: &mut Tx,
        caller: &Caller,
        moment: Moment,
        format: Format,
        reader: Reader,
    ) -> Result<Self, Refusal> {
        let waiting: VecDeque<Uuid> = entries_in_sight(tx, caller, moment.as_of).await?.into();
        Ok(Self {
            caller: caller.clone(),
            growing: Growing::new(format, reader),
            workers: waiting.len(),
            what: What::Histories { moment, waiting },
        })
    }

    /// The journal as far as it is in sight.
    ///
    /// # Errors
    /// [`Refusal::Forbidden`], or when storage fails.
    pub async fn journal(
        tx: &mut Tx,
        caller: &Caller,
        moment: Moment,
        format: Format,
        reader: Reader,
    ) -> Result<Self, Refusal> {
        Ok(Self {
            caller: caller.clone(),
            growing: Growing::new(format, reader),
            workers: workers_in_sight(tx, caller, moment.as_of).await?,
            what: What::Journal { moment, after: None },
        })
    }

    /// How many rows or items were written so far.
    pub fn rows(&self) -> usize {
        self.growing.rows
    }

    /// The next part; nothing after the last one.
    ///
    /// # Errors
    /// Only when storage fails.
    pub async fn next(&mut self, tx: &mut Tx) -> Result<Option<Vec<u8>>, Refusal> {
        if self.growing.ended {
            return Ok(None);
        }
        match &mut self.what {
            What::Histories { moment, waiting } => {
                let some: Vec<Uuid> = waiting.drain(..waiting.len().min(WORKERS)).collect();
                let last = waiting.is_empty();
                let taken = histories(tx, &self.caller, *moment, &some).await?;
                let (mut rows, mut bodies) = (Vec::<HistoryRow>::new(), Vec::new());
                for one in taken {
                    rows.extend(one.rows);
                    bodies.push(one.body);
                }
                Ok(Some(self.growing.part(&rows, bodies.into_iter(), last)))
            }
            What::Journal { moment, after } => {
                let until = Some(moment.as_of.position);
                let question =
                    JournalQuestion { after: *after, until, limit: ENTRIES, ..JournalQuestion::default() };
                let found = page(tx, &self.caller, moment.as_of, &question).await?;
                *after = found.next;
                let items = found.items.iter().map(JournalEntryView::to_json);
                Ok(Some(self.growing.part(&found.items, items, found.next.is_none())))
            }
        }
    }
}
