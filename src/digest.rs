//! SHA-256 digests in lower-case hexadecimal digits: of bytes, and of several things one after the other.

use std::fmt::Write as _;

use sha2::{Digest as _, Sha256};

/// SHA-256 of `bytes`.
pub fn sha256(bytes: &[u8]) -> String {
    hexadecimal(Sha256::new_with_prefix(bytes))
}

/// What has been put into a digest, in hexadecimal digits.
pub(crate) fn hexadecimal(digest: Sha256) -> String {
    digest.finalize().iter().fold(String::with_capacity(64), |mut text, byte| {
        // Writing to a String cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// One digest of several things, each with its length before it, so that no two lists of things look the same.
#[derive(Debug, Default)]
pub struct OfAll(Sha256);

impl OfAll {
    /// Puts the next thing in.
    pub fn put(&mut self, bytes: impl AsRef<[u8]>) {
        let bytes = bytes.as_ref();
        self.0.update((bytes.len() as u64).to_le_bytes());
        self.0.update(bytes);
    }

    /// The digest.
    pub fn finish(self) -> String {
        hexadecimal(self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FIPS 180-4's example of one block, as NIST publishes it.
    #[test]
    fn the_digest_of_abc_is_the_published_one() {
        assert_eq!(sha256(b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }

    #[test]
    fn where_one_thing_ends_and_the_next_begins_counts() {
        let of = |things: &[&str]| {
            let mut all = OfAll::default();
            for thing in things {
                all.put(thing);
            }
            all.finish()
        };
        assert_ne!(of(&["ab", "c"]), of(&["a", "bc"]));
        assert_eq!(of(&["ab", "c"]), of(&["ab", "c"]));
    }
}
