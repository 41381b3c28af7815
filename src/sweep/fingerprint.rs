//! A number that tells two designs apart.

use crate::project::Project;

/// FNV-1a with 64 bits (G. Fowler, L. C. Noll, K.-P. Vo, D. Eastlake, "The FNV Non-Cryptographic Hash Algorithm"). It
/// guards against a design that was changed, not against malice.
struct Fnv(u64);

impl Fnv {
    fn bytes(&mut self, bytes: &[u8]) {
        for &byte in bytes {
            self.0 = (self.0 ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01B3);
        }
    }

    /// Bytes with their number, so that two texts cannot be cut otherwise and look the same.
    fn text(&mut self, bytes: &[u8]) {
        self.bytes(&(bytes.len() as u64).to_le_bytes());
        self.bytes(bytes);
    }
}

/// The fingerprint of all that a run depends on: the texts of the design and of the library, and the images. Where the
/// files lie does not count.
pub(crate) fn fingerprint(project: &Project) -> String {
    let mut hash = Fnv(0xCBF2_9CE4_8422_2325);
    for source in project.sources().iter() {
        hash.text(source.text.as_bytes());
    }
    for image in project.images() {
        for (start, bytes) in image.segments() {
            hash.bytes(&start.to_le_bytes());
            hash.text(bytes);
        }
        hash.text(b"");
    }
    format!("{:016x}", hash.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of_bytes(bytes: &[u8]) -> String {
        let mut hash = Fnv(0xCBF2_9CE4_8422_2325);
        hash.bytes(bytes);
        format!("{:016x}", hash.0)
    }

    #[test]
    fn it_is_the_published_hash() {
        // The test vectors of the authors' draft: FNV-1a, 64 bits.
        assert_eq!(of_bytes(b""), "cbf29ce484222325");
        assert_eq!(of_bytes(b"a"), "af63dc4c8601ec8c");
        assert_eq!(of_bytes(b"foobar"), "85944171f73967e8");
    }
}
