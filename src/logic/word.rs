//! Packed words of up to 64 bits, each bit low, high or unknown: what the chips' functions compute on.
//!
//! An unknown bit stands for both of its values. Every operation is sound: a bit of its result is known only when it
//! is the same whichever values the unknown bits of the operands have.

use super::Level;

/// Up to 64 bits, each low, high or unknown. A word does not know its width; operations that need it are told the
/// `width` in bits (64 at most) or the `mask` of the bits that count.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub struct Word {
    /// The bits that are known to be high.
    pub value: u64,
    /// The bits that are unknown; none of them is set in `value`.
    pub unknown: u64,
}

/// The bit that a one-bit result stands in.
const BIT: u64 = 1;

impl Word {
    /// A word of its high bits and its unknown bits; a bit in both is unknown.
    #[inline]
    pub const fn new(value: u64, unknown: u64) -> Word {
        Word { value: value & !unknown, unknown }
    }

    /// A word without unknown bits.
    #[inline]
    pub const fn known(value: u64) -> Word {
        Word { value, unknown: 0 }
    }

    /// A word whose bits in the mask are all unknown.
    #[inline]
    pub const fn all_unknown(mask: u64) -> Word {
        Word { value: 0, unknown: mask }
    }

    /// One bit, as an input sees the level.
    #[inline]
    pub const fn from_level(level: Level) -> Word {
        Word::new(level.is_high() as u64, !level.is_known() as u64)
    }

    /// The mask of the lowest `width` bits.
    #[inline]
    pub const fn mask(width: u32) -> u64 {
        if width >= 64 { u64::MAX } else { (1 << width) - 1 }
    }

    /// Every bit of the mask inverted.
    #[inline]
    pub const fn not(self, mask: u64) -> Word {
        Word::new(!self.value & mask, self.unknown & mask)
    }

    /// Bit by bit: high where both are.
    #[inline]
    pub const fn and(self, other: Word) -> Word {
        Word::between(self.value & other.value, self.most() & other.most())
    }

    /// Bit by bit: high where one is.
    #[inline]
    pub const fn or(self, other: Word) -> Word {
        Word::between(self.value | other.value, self.most() | other.most())
    }

    /// Bit by bit: high where they differ.
    #[inline]
    pub const fn xor(self, other: Word) -> Word {
        Word::new(self.value ^ other.value, self.unknown | other.unknown)
    }

    /// What is known when it may be either word: the bits that are known and agree.
    #[inline]
    pub const fn merge(self, other: Word) -> Word {
        Word::new(self.value, self.unknown | other.unknown | (self.value ^ other.value))
    }

    /// `yes` when bit 0 of the condition is high, `no` when it is low, else what they have in common.
    #[inline]
    pub const fn select(condition: Word, yes: Word, no: Word) -> Word {
        if condition.unknown & BIT != 0 {
            yes.merge(no)
        } else if condition.value & BIT != 0 {
            yes
        } else {
            no
        }
    }

    /// The lowest `width` bits of the sum of both words and bit 0 of the carry. Known bits of an operand stop an
    /// unknown carry as they do in a chain of full adders. For the carry out, add with one bit more.
    #[inline]
    pub const fn add(self, other: Word, carry: Word, width: u32) -> Word {
        let least = self.value.wrapping_add(other.value).wrapping_add(carry.value & BIT);
        let unknown = self.unknown | other.unknown | (carry.unknown & BIT);
        let mask = Word::mask(width);
        if unknown & mask == 0 {
            return Word::known(least & mask);
        }
        // A carry never falls when an operand's bit rises. So a carry is known high when it is high with every unknown
        // bit low, and known low when it is low with every unknown bit high.
        let most = self.most().wrapping_add(other.most()).wrapping_add(carry.most() & BIT);
        let least_carries = least ^ self.value ^ other.value;
        let most_carries = most ^ self.most() ^ other.most();
        let unknown = self.unknown | other.unknown | (least_carries ^ most_carries);
        Word::new(least & mask, unknown & mask)
    }

    /// The lowest `width` bits of the difference. For the borrow, subtract with one bit more.
    #[inline]
    pub const fn sub(self, other: Word, width: u32) -> Word {
        self.add(other.not(u64::MAX), Word::known(BIT), width)
    }

    /// One bit: whether the words are equal in the bits of the mask.
    #[inline]
    pub const fn equal(self, other: Word, mask: u64) -> Word {
        let unknown = self.unknown | other.unknown;
        let different = (self.value ^ other.value) & !unknown & mask != 0;
        Word::bit_of(different, unknown & mask == 0 && !different)
    }

    /// One bit: whether the number in the lowest `width` bits is less than the other's.
    #[inline]
    pub const fn less(self, other: Word, width: u32) -> Word {
        let mask = Word::mask(width);
        Word::bit_of(self.value & mask >= other.most() & mask, self.most() & mask < other.value & mask)
    }

    /// One bit for each value of an address of `width` bits, 6 at most: bit n is high when the address is n.
    #[inline]
    pub const fn decode(self, width: u32) -> Word {
        let may_be = self.addresses(width);
        if may_be.is_power_of_two() { Word::known(may_be) } else { Word::all_unknown(may_be) }
    }

    /// One bit: the bit of the vector that an address of `address_width` bits, 6 at most, points at.
    #[inline]
    pub const fn pick(vector: Word, address: Word, address_width: u32) -> Word {
        let may_be = address.addresses(address_width);
        Word::bit_of(vector.most() & may_be == 0, vector.value & may_be == may_be)
    }

    /// One bit: whether all bits of the mask are high.
    #[inline]
    pub const fn all(self, mask: u64) -> Word {
        Word::bit_of(self.most() & mask != mask, self.value & mask == mask)
    }

    /// One bit: whether any bit of the mask is high.
    #[inline]
    pub const fn any(self, mask: u64) -> Word {
        Word::bit_of(self.most() & mask == 0, self.value & mask != 0)
    }

    /// One bit: whether an odd number of the mask's bits are high.
    #[inline]
    pub const fn odd(self, mask: u64) -> Word {
        Word::new((self.value & mask).count_ones() as u64 & BIT, (self.unknown & mask != 0) as u64)
    }

    /// The `width` bits from bit `low` on.
    #[inline]
    pub const fn slice(self, low: u32, width: u32) -> Word {
        if low >= 64 {
            return Word::known(0);
        }
        let mask = Word::mask(width);
        Word { value: self.value >> low & mask, unknown: self.unknown >> low & mask }
    }

    /// The lowest `low_width` bits of `low`, and `high` above them; bits above the 64th are lost.
    #[inline]
    pub const fn concat(high: Word, low: Word, low_width: u32) -> Word {
        let low = low.slice(0, low_width);
        if low_width >= 64 {
            return low;
        }
        Word { value: high.value << low_width | low.value, unknown: high.unknown << low_width | low.unknown }
    }

    /// Bit 0 in every bit of the mask.
    #[inline]
    pub const fn splat(self, mask: u64) -> Word {
        Word { value: (self.value & BIT).wrapping_neg() & mask, unknown: (self.unknown & BIT).wrapping_neg() & mask }
    }

    /// The level of a bit: low, high or `X`; low above the 64th.
    #[inline]
    pub const fn bit(self, index: u32) -> Level {
        let bit = self.slice(index, 1);
        if bit.unknown != 0 {
            Level::X
        } else if bit.value != 0 {
            Level::One
        } else {
            Level::Zero
        }
    }

    /// The lowest `width` bits as `0`, `1` and `X`, the highest first.
    pub fn text(self, width: u32) -> String {
        (0..width.min(64)).rev().map(|index| self.bit(index).to_char()).collect()
    }

    /// The lowest `width` bits as hexadecimal digits, the highest first, with `?` for a digit that has unknown bits.
    pub fn hex(self, width: u32) -> String {
        let word = self.slice(0, width);
        let digit = |index: u32| match word.slice(4 * index, 4) {
            Word { value, unknown: 0 } => char::from(b"0123456789ABCDEF"[value as usize]),
            _ => '?',
        };
        (0..width.min(64).div_ceil(4)).rev().map(digit).collect()
    }

    /// The word with every unknown bit high.
    #[inline]
    const fn most(self) -> u64 {
        self.value | self.unknown
    }

    /// The bits between the least and the most that they can be.
    #[inline]
    const fn between(least: u64, most: u64) -> Word {
        Word { value: least, unknown: most & !least }
    }

    /// One bit that is surely low, surely high, or unknown.
    #[inline]
    const fn bit_of(low: bool, high: bool) -> Word {
        Word { value: high as u64, unknown: !(low || high) as u64 }
    }

    /// The set of the addresses that the lowest `width` bits may mean, as bits.
    #[inline]
    const fn addresses(self, width: u32) -> u64 {
        let mask = Word::mask(if width < 6 { width } else { 6 });
        let mut set = BIT << (self.value & mask);
        let mut unknown = self.unknown & mask;
        while unknown != 0 {
            let bit = unknown & unknown.wrapping_neg();
            set |= set << bit;
            unknown ^= bit;
        }
        set
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Every word of a width, with all ways to be unknown.
    fn words(width: u32) -> impl Iterator<Item = Word> + Clone {
        (0..1 << width)
            .flat_map(move |unknown| (0..1 << width).map(move |value| Word { value, unknown }))
            .filter(|word| word.value & word.unknown == 0)
    }

    /// Every number that a word of a width may stand for.
    fn meanings(word: Word, width: u32) -> impl Iterator<Item = u64> + Clone {
        (0..1 << width).filter(move |number| number & !word.unknown == word.value)
    }

    /// What can be known of a result at best, when it may be any of these numbers.
    fn best(mut results: impl Iterator<Item = u64>) -> Word {
        let first = results.next().expect("a word means something");
        results.fold(Word::known(first), |all, next| all.merge(Word::known(next)))
    }

    /// Checks an operation of two words against plain integers for all words of a small width: sound everywhere, and
    /// as precise as can be where `precise`. A word without unknown bits has one meaning, so it must be exact.
    fn check(
        width: u32,
        precise: bool,
        operation: impl Fn(Word, Word) -> Word,
        plain: impl Fn(u64, u64) -> u64 + Copy,
    ) {
        for a in words(width) {
            for b in words(width) {
                let result = operation(a, b);
                let of_a = |x| meanings(b, width).map(move |y| plain(x, y));
                let expected = best(meanings(a, width).flat_map(of_a));
                assert_eq!(result.value & result.unknown, 0);
                if precise || a.unknown | b.unknown == 0 {
                    assert_eq!(result, expected, "{a:?} {b:?}");
                }
                assert_eq!(result.unknown | expected.unknown, result.unknown, "{a:?} {b:?}");
                assert_eq!(result.value, expected.value & !result.unknown, "{a:?} {b:?}");
            }
        }
    }

    /// The same for an operation of one word.
    fn check_one(width: u32, operation: impl Fn(Word) -> Word, plain: impl Fn(u64) -> u64 + Copy) {
        for a in words(width) {
            assert_eq!(operation(a), best(meanings(a, width).map(plain)), "{a:?}");
        }
    }

    const W: u32 = 4;
    const M: u64 = 0b1111;

    #[test]
    fn bitwise_operations_know_what_can_be_known() {
        check(W, true, Word::and, |x, y| x & y);
        check(W, true, Word::or, |x, y| x | y);
        check(W, true, Word::xor, |x, y| x ^ y);
        check_one(W, |a| a.not(M), |x| !x & M);
        check_one(W, |a| a.not(0b0110), |x| !x & 0b0110);
    }

    #[test]
    fn merge_and_select_keep_what_is_common() {
        for a in words(3) {
            for b in words(3) {
                let either = best(meanings(a, 3).chain(meanings(b, 3)));
                assert_eq!(a.merge(b), either);
                assert_eq!(Word::select(Word::all_unknown(1), a, b), either);
                assert_eq!(Word::select(Word::known(1), a, b), a);
                assert_eq!(Word::select(Word::new(2, 4), a, b), b);
            }
        }
    }

    #[test]
    fn sums_and_differences_are_sound_and_exact_when_known() {
        check(W, false, |a, b| a.add(b, Word::known(0), W), |x, y| (x + y) & M);
        check(W, false, |a, b| a.add(b, Word::known(1), W), |x, y| (x + y + 1) & M);
        check(W, false, |a, b| a.add(b, Word::known(0), W + 1), |x, y| x + y);
        check(W, false, |a, b| a.sub(b, W), |x, y| x.wrapping_sub(y) & M);
        check(W, false, |a, b| a.sub(b, W + 1), |x, y| x.wrapping_sub(y) & (M << 1 | 1));
    }

    #[test]
    fn sums_are_those_of_a_chain_of_full_adders() {
        let carries = [Word::known(0), Word::known(1), Word::all_unknown(1)];
        for (a, b) in words(W).flat_map(|a| words(W).map(move |b| (a, b))) {
            for carry_in in carries {
                let sum = a.add(b, carry_in, W);
                let mut carry = carry_in.bit(0);
                for i in 0..W {
                    let (x, y) = (a.bit(i), b.bit(i));
                    assert_eq!(sum.bit(i), x.xor(y).xor(carry), "{a:?} {b:?} {carry_in:?}");
                    carry = x.and(y).or(x.and(carry)).or(y.and(carry));
                }
                assert_eq!(a.add(b, carry_in, W + 1).bit(W), carry);
            }
        }
    }

    #[test]
    fn comparisons_know_what_can_be_known() {
        check(W, true, |a, b| a.equal(b, M), |x, y| (x == y).into());
        check(W, true, |a, b| a.equal(b, 0b0101), |x, y| (x & 5 == y & 5).into());
        check(W, true, |a, b| a.less(b, W), |x, y| (x < y).into());
        check(W, true, |a, b| a.less(b, 3), |x, y| (x & 7 < y & 7).into());
    }

    #[test]
    fn decoding_and_picking_know_what_can_be_known() {
        check_one(W, |a| a.decode(W), |x| 1 << x);
        check_one(W, |a| a.decode(2), |x| 1 << (x & 3));
        check(W, true, |vector, address| Word::pick(vector, address, 2), |v, a| v >> (a & 3) & 1);
        assert_eq!(Word::known(63).decode(6), Word::known(1 << 63));
        assert_eq!(Word::all_unknown(63).decode(6), Word::all_unknown(u64::MAX));
        assert_eq!(Word::pick(Word::known(u64::MAX), Word::all_unknown(63), 6), Word::known(1));
        assert_eq!(Word::known(64 + 3).decode(9), Word::known(1 << 3));
    }

    #[test]
    fn reductions_know_what_can_be_known() {
        for mask in 0..16 {
            check_one(W, |a| a.all(mask), |x| (x & mask == mask).into());
            check_one(W, |a| a.any(mask), |x| (x & mask != 0).into());
            check_one(W, |a| a.odd(mask), |x| u64::from((x & mask).count_ones()) % 2);
        }
    }

    #[test]
    fn parts_are_cut_and_joined() {
        check_one(W, |a| a.slice(1, 2), |x| x >> 1 & 3);
        check_one(W, |a| a.splat(0b101), |x| if x & 1 == 1 { 0b101 } else { 0 });
        check(W, true, |a, b| Word::concat(a, b, 3), |x, y| x << 3 | y & 7);
        let word = Word::new(0xF0, 0x0F);
        assert_eq!(word.slice(64, 8), Word::known(0));
        assert_eq!(word.slice(0, 64), word);
        assert_eq!(Word::concat(Word::known(1), word, 64), word);
        assert_eq!(Word::concat(word, Word::known(1), 0), word);
        assert_eq!(Word::known(1).splat(u64::MAX), Word::known(u64::MAX));
    }

    #[test]
    fn words_print_their_unknown_bits() {
        let word = Word::new(0x2A, 0x0100);
        assert_eq!(word.text(9), "X00101010");
        assert_eq!(word.hex(8), "2A");
        assert_eq!(word.hex(9), "?2A");
        assert_eq!(word.hex(64), "0000000000000?2A");
        assert_eq!((word.hex(0), word.text(0)), (String::new(), String::new()));
        assert_eq!(Word::new(0b11, 0b01), Word { value: 2, unknown: 1 });
        let levels = [Level::H, Level::Zero, Level::Z, Level::U];
        assert_eq!(levels.map(|level| Word::from_level(level).text(1)), ["1", "0", "X", "X"]);
    }

    proptest! {
        #[test]
        fn known_words_compute_as_integers(a: u64, b: u64, carry in 0..2_u64, width in 0..=64_u32) {
            let mask = Word::mask(width);
            let (x, y) = (Word::known(a), Word::known(b));
            let (wide_a, wide_b) = (u128::from(a & mask), u128::from(b & mask));
            let sum = (wide_a + wide_b + u128::from(carry)) as u64 & mask;
            prop_assert_eq!(x.add(y, Word::known(carry), width), Word::known(sum));
            prop_assert_eq!(x.sub(y, width), Word::known(wide_a.wrapping_sub(wide_b) as u64 & mask));
            prop_assert_eq!(x.less(y, width), Word::known((wide_a < wide_b).into()));
            prop_assert_eq!(x.equal(y, mask), Word::known((wide_a == wide_b).into()));
            prop_assert_eq!(x.odd(mask), Word::known(u64::from(wide_a.count_ones() % 2)));
            prop_assert_eq!(Word::pick(x, y, 6), Word::known(a >> (b % 64) & 1));
        }

        /// Whatever two numbers the words stand for, every known bit of a result is that of the plain result.
        #[test]
        fn wide_words_are_sound(a: u64, b: u64, carry in 0..2_u64, in_a: u64, in_b: u64, in_carry: u64, width in 1..=64_u32) {
            let agrees = |result: Word, plain: u64| {
                result.value & result.unknown == 0 && result.value == plain & !result.unknown
            };
            let mask = Word::mask(width);
            let (x, y, c) = (Word::new(a, in_a), Word::new(b, in_b), Word::new(carry, in_carry));
            let sum = a.wrapping_add(b).wrapping_add(carry) & mask;
            prop_assert!(agrees(x.add(y, c, width), sum));
            prop_assert!(agrees(x.sub(y, width), a.wrapping_sub(b) & mask));
            prop_assert!(agrees(x.less(y, width), (a & mask < b & mask).into()));
            prop_assert!(agrees(x.equal(y, mask), (a & mask == b & mask).into()));
            prop_assert!(agrees(x.merge(y), a) && agrees(x.merge(y), b));
            let selected = if carry == 1 { a } else { b };
            prop_assert!(agrees(Word::select(c, x, y), selected));
            prop_assert!(agrees(x.decode(6), 1 << (a % 64)));
            prop_assert!(agrees(Word::pick(x, y, 6), a >> (b % 64) & 1));
            let joined = if width == 64 { b } else { a << width | b & mask };
            prop_assert!(agrees(Word::concat(x, y, width), joined));
        }
    }
}
