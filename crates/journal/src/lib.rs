//! The one order of events: append with group commit, read from a position, trim.
