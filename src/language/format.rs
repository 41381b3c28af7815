//! The canonical layout.
