//! Raw images: the bytes themselves, from address 0 on.

use super::Image;

/// The image of a file; every file is one.
pub(super) fn read(bytes: &[u8]) -> Image {
    let mut image = Image::new();
    image.add_segment(0, bytes.to_vec());
    image
}
