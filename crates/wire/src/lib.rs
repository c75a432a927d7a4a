//! Generated contract code and the mapping between it and the domain types.
