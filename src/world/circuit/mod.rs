//! Circuits (to be written).
