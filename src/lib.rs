//! ripplemark (front page to be written once the pipeline stands)
#![forbid(unsafe_code)]
#![deny(missing_docs)]

pub mod capture;
pub mod draw;
pub mod findings;
pub mod linecode;
pub mod receiver;
pub mod telegram;
pub mod world;
