//! stub
/// stub
pub struct Signal;
