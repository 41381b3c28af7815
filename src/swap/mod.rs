//! A design as it would be with other chips, beside the design as it is.
