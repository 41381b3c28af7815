//! Chance that is the same on every machine.

use rand_chacha::ChaCha8Rng;
use rand_core::SeedableRng;

/// A stream of random numbers: the published ChaCha8, so that a seed means the same everywhere.
pub fn generator(seed: u64, stream: u64) -> ChaCha8Rng {
    let mut bytes = [0; 32];
    bytes[..8].copy_from_slice(&seed.to_le_bytes());
    let mut random = ChaCha8Rng::from_seed(bytes);
    random.set_stream(stream);
    random
}
