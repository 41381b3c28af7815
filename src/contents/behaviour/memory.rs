//! Memory as instructions see it.

/// The memory that a program sees.
pub trait Memory {
    /// The byte at an address; `None` where there is no memory, or where it is unknown.
    fn read(&mut self, address: u64) -> Option<u8>;
    /// Puts a byte at an address; `None` for an unknown one.
    fn write(&mut self, address: u64, byte: Option<u8>);
}
