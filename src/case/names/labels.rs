//! labels
