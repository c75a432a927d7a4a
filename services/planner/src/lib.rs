//! The planner role: the weekly health list and one unit's history.
