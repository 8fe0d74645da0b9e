//! Seeds that depend on names only.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;

/// A seed from names, such as a table and a site: the same on every machine and in every version.
///
/// 64-bit FNV-1a over the UTF-8 bytes, a byte 0xFF (which no UTF-8 text holds) after each part, so that
/// `["a", "bc"]` and `["ab", "c"]` differ. Source, from memory: Fowler, Noll, Vo; IETF draft-eastlake-fnv.
#[must_use]
pub fn seed(parts: &[&str]) -> u64 {
    const OFFSET: u64 = 0xcbf2_9ce4_8422_2325;
    const PRIME: u64 = 0x0000_0100_0000_01b3;
    parts
        .iter()
        .flat_map(|part| part.bytes().chain(std::iter::once(0xff)))
        .fold(OFFSET, |hash, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(PRIME)
        })
}

/// The generator that every random draw of this crate uses.
pub(crate) fn generator(seed: u64) -> ChaCha8Rng {
    ChaCha8Rng::seed_from_u64(seed)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FNV-1a of the bytes `61 FF`, by hand from the published hash of "a" (af63dc4c8601ec8c) and one more step.
    #[test]
    fn continues_the_published_hash_of_a() {
        let expected = (0xaf63_dc4c_8601_ec8c_u64 ^ 0xff).wrapping_mul(0x0000_0100_0000_01b3);
        assert_eq!(seed(&["a"]), expected);
        assert_ne!(seed(&["a", "bc"]), seed(&["ab", "c"]));
    }
}
