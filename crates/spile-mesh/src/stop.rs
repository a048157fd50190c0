//! Whether long work is to stop.

/// Asked now and then by long work: true once nobody wants its answer any more.
///
/// Once true it must stay so, or whoever calls must see to that: work that was stopped gives
/// back an error, or something of the right kind that is nothing to go by.
pub type StopAsked<'a> = &'a (dyn Fn() -> bool + Sync);

/// For work that goes on to its end.
pub const NEVER_STOP: StopAsked<'static> = &|| false;
