//! End-to-end tests of the rimeline binary: real processes, real files, foreign clients.
