use rimeline_channels::{Channel, Id, UnixMs};
use rimeline_detector::Condition;

/// Digits that are not mistaken for each other on a telephone: no i, l, o, u (Crockford's base 32, lower case).
const DIGITS: &[u8; 32] = b"0123456789abcdefghjkmnpqrstvwxyz";

/// The id of a case: the same unit, condition, channel and onset give the same id on every machine and in every
/// version.
///
/// FNV-1a (64 bits) over `unit NUL condition NUL channel NUL onset`, numbers in decimal, channel 0 where there is
/// none; then the 64-bit finaliser of `MurmurHash3`, because FNV leaves the upper bits of short texts nearly alike;
/// then the lower 60 bits as three groups of four base-32 digits. A million cases share an id with a probability of
/// 4e-7.
pub fn case_id(unit: &Id, condition: Condition, channel: Option<Channel>, onset: UnixMs) -> String {
    let channel = channel.map_or(0, Channel::number);
    let text = format!("{unit}\0{}\0{channel}\0{onset}", condition as i32);
    let hash = spread(fnv1a(text.as_bytes()));
    let mut id = String::with_capacity(14);
    for digit in 0..12 {
        if digit > 0 && digit % 4 == 0 {
            id.push('-');
        }
        id.push(DIGITS[(hash >> (5 * digit)) as usize & 31] as char);
    }
    id
}

fn fnv1a(bytes: &[u8]) -> u64 {
    bytes
        .iter()
        .fold(0xcbf2_9ce4_8422_2325, |hash, &byte| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3))
}

fn spread(mut hash: u64) -> u64 {
    hash = (hash ^ (hash >> 33)).wrapping_mul(0xff51_afd7_ed55_8ccd);
    hash = (hash ^ (hash >> 33)).wrapping_mul(0xc4ce_b9fe_1a85_ec53);
    hash ^ (hash >> 33)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn the_hash_is_the_published_one() {
        // Fowler, Noll, Vo: test vectors of FNV-1a, 64 bits (draft-eastlake-fnv, appendix C).
        assert_eq!(fnv1a(b""), 0xcbf2_9ce4_8422_2325);
        assert_eq!(fnv1a(b"a"), 0xaf63_dc4c_8601_ec8c);
        assert_eq!(fnv1a(b"foobar"), 0x8594_4171_f739_67e8);
    }

    #[test]
    fn an_id_stays_what_it_is_and_every_part_counts() {
        let unit = Id::new("TR-0042").unwrap();
        let base = case_id(&unit, Condition::ShortCycling, None, 1_700_000_000_000);
        assert_eq!(base.len(), 14);
        assert!(Id::new(&base).is_ok(), "{base} is an id like others");
        let others = [
            case_id(&Id::new("TR-0043").unwrap(), Condition::ShortCycling, None, 1_700_000_000_000),
            case_id(&unit, Condition::SlowPullDown, None, 1_700_000_000_000),
            case_id(&unit, Condition::ShortCycling, Some(Channel::Coil), 1_700_000_000_000),
            case_id(&unit, Condition::ShortCycling, None, 1_700_000_000_001),
        ];
        for other in &others {
            assert_ne!(&base, other);
        }
    }
}
