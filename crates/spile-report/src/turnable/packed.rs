//! Numbers on their way into the page: differences, byte planes, deflate, base 64.
//!
//! Words of 32 bits, each less the one before it (modulo 2^32, the first less 0), then all
//! low bytes, all second bytes, and so on, compressed as RFC 1950 has it. What browsers
//! unpack by themselves, and smaller than the words are: neighbours differ little.
//! `web/src/report/packed.ts` reads it.

use base64::Engine as _;
use base64::prelude::BASE64_STANDARD;

/// How hard the compressor tries: 0 to 10.
const EFFORT: u8 = 9;

/// The words as text.
pub(crate) fn packed(words: &[u32]) -> String {
    let mut bytes = vec![0; 4 * words.len()];
    let mut before = 0;
    for (k, word) in words.iter().enumerate() {
        for (plane, byte) in word.wrapping_sub(before).to_le_bytes().into_iter().enumerate() {
            bytes[plane * words.len() + k] = byte;
        }
        before = *word;
    }
    BASE64_STANDARD.encode(miniz_oxide::deflate::compress_to_vec_zlib(&bytes, EFFORT))
}

#[cfg(test)]
mod tests {
    use base64::Engine as _;
    use base64::prelude::BASE64_STANDARD;

    #[test]
    fn differences_lie_in_planes() {
        // 5, 5 + 258, back to 1: differences 5, 258, -262, low bytes first.
        let text = super::packed(&[5, 263, 1]);
        let planes = [5, 2, 250, 0, 1, 254, 0, 0, 255, 0, 0, 255];
        let expected = miniz_oxide::deflate::compress_to_vec_zlib(&planes, super::EFFORT);
        assert_eq!(text, BASE64_STANDARD.encode(&expected));
        assert_eq!(miniz_oxide::inflate::decompress_to_vec_zlib(&expected).unwrap(), planes);
    }
}
