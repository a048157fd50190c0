//! Bytes as text.

/// The letters, in their order.
const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";

/// `bytes` in base 64 with padding.
///
/// # Source
/// RFC 4648, section 4.
pub(crate) fn base64(bytes: &[u8]) -> String {
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for three in bytes.chunks(3) {
        let byte = |k: usize| u32::from(three.get(k).copied().unwrap_or(0));
        let bits = byte(0) << 16 | byte(1) << 8 | byte(2);
        for k in 0..4 {
            let is_padding = k > three.len();
            let letter = LETTERS[(bits >> (18 - 6 * k)) as usize & 63];
            out.push(if is_padding { '=' } else { letter as char });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    #[test]
    fn the_published_examples_come_out() {
        // RFC 4648, section 10.
        let examples = ["", "f", "fo", "foo", "foob", "fooba", "foobar"];
        let coded = ["", "Zg==", "Zm8=", "Zm9v", "Zm9vYg==", "Zm9vYmE=", "Zm9vYmFy"];
        for (plain, expected) in examples.iter().zip(coded) {
            assert_eq!(super::base64(plain.as_bytes()), expected);
        }
    }
}
