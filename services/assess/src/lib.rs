//! The assessing role: journal in, cases out.
