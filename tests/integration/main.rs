//! The program from outside.
