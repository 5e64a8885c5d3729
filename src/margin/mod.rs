//! World × receiver, many times: how much breaks the reading.
//!
//! A [`Plan`] varies one or two numbers ([`Axis`]) and makes a [`Scene`] for every trial; each trial has a seed of its own, keyed by
//! the plan's seed, the point's values and the trial's number ([`Draw`]), so counts depend neither on the order nor on the number of
//! threads. [`run`] counts what each [`Contestant`] makes of the same captures in a [`Table`].
//!
//! | what is counted | meaning |
//! |---|---|
//! | trials | captures |
//! | read | captures in which the first tag's number was read |
//! | wrong | captures in which a number was read that no tag in it sent; such a capture may count as read too |
//! | both | captures read by the first receiver of the table too |
//! | timed out, crashed, garbage | captures for which an [`Outside`] decoder gave no answer; they count as not read |
//!
//! Shares carry Wilson's 95 % interval ([`wilson95`]), differences on the same captures that of [`paired95`], levels the interval of [`level_at`]. What theory says is in [`theory`].

pub mod plain;
pub mod theory;

mod axis;
mod contest;
mod draw;
mod interval;
mod level;
mod limit;
mod outside;
mod paired;
mod run;
mod scene;
mod table;
#[cfg(test)]
mod trellis;

pub use axis::{Axis, AxisError};
pub use contest::{Contestant, Outcome};
pub use draw::Draw;
pub use interval::wilson95;
pub use level::{Level, Levels, level_at};
pub use limit::{Told, can_be_told, told, told_sums};
pub use outside::{Answer, Failure, Number, Outside, Trial};
pub use paired::paired95;
pub use run::{Part, Plan, Progress, SceneMaker, run};
pub use scene::{Recording, Scene};
pub use table::{Row, Table, TableError, Tally};
