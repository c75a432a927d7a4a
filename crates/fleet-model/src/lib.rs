//! A physical simulator of refrigerated units with graded faults and labelled truth.
