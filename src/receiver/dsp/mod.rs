//! Arithmetic on samples that knows nothing of fields and tags: phasors, transforms, tones, resampling in time.

pub(super) mod kept;
pub(super) mod phasor;
pub(super) mod retime;
pub(super) mod tones;
pub(super) mod transform;
