//! Rows and takes: kept, read, given out.
