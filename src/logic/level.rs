//! The nine levels of IEEE Std 1164, how drivers of one net resolve, and what gates make of them.
//!
//! The tables are computed from the meaning of the levels; the tests hold them against the standard's own.

use std::fmt;

/// A level in the order of the standard.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
#[repr(u8)]
pub enum Level {
    /// Never driven since power-up.
    U,
    /// Driven, but not known whether low or high.
    X,
    /// Driven low.
    Zero,
    /// Driven high.
    One,
    /// Driven by nobody.
    Z,
    /// Pulled by weak drivers, but not known whether low or high.
    W,
    /// Pulled low.
    L,
    /// Pulled high.
    H,
    /// Does not matter.
    Dash,
}

use Level::{Dash, H, L, One, U, W, X, Z, Zero};

const LEVELS: [Level; 9] = [U, X, Zero, One, Z, W, L, H, Dash];

type Table = [[Level; 9]; 9];

/// What two drivers of one net make of it.
pub const RESOLUTION: Table = table(Resolve);
const AND: Table = table(And);
const OR: Table = table(Or);
const XOR: Table = table(Xor);

/// How two levels become one.
#[derive(Clone, Copy)]
enum Operation {
    Resolve,
    And,
    Or,
    Xor,
}

use Operation::{And, Or, Resolve, Xor};

/// The operation done on every pair of levels.
const fn table(operation: Operation) -> Table {
    let mut table = [[U; 9]; 9];
    let mut row = 0;
    while row < 9 {
        let mut column = 0;
        while column < 9 {
            table[row][column] = combine(operation, LEVELS[row], LEVELS[column]);
            column += 1;
        }
        row += 1;
    }
    table
}

const fn combine(operation: Operation, a: Level, b: Level) -> Level {
    let uninitialized = matches!(a, U) || matches!(b, U);
    match (operation, a.to_x01(), b.to_x01()) {
        // A level that decides alone does so whatever the other is, even one that was never driven.
        (And, Zero, _) | (And, _, Zero) => Zero,
        (Or, One, _) | (Or, _, One) => One,
        _ if uninitialized => U,
        (And, One, One) => One,
        (Or, Zero, Zero) => Zero,
        (Xor, Zero, Zero) | (Xor, One, One) => Zero,
        (Xor, Zero, One) | (Xor, One, Zero) => One,
        (And | Or | Xor, _, _) => X,
        (Resolve, _, _) if matches!(a, X | Dash) || matches!(b, X | Dash) => X,
        (Resolve, _, _) if a.strength() > b.strength() => a,
        (Resolve, _, _) if a.strength() < b.strength() => b,
        (Resolve, _, _) => match (a, b) {
            (Zero, Zero) | (One, One) | (L, L) | (H, H) | (Z, Z) => a,
            (Zero | One, _) => X,
            _ => W,
        },
    }
}

impl Level {
    /// The level of a number, 0 for `U` to 8 for `-`; larger numbers count as 8.
    #[inline]
    pub const fn from_u8(number: u8) -> Level {
        match number {
            0 => U,
            1 => X,
            2 => Zero,
            3 => One,
            4 => Z,
            5 => W,
            6 => L,
            7 => H,
            _ => Dash,
        }
    }

    /// The level of the standard's character, if it is one of `U X 0 1 Z W L H -`.
    pub fn from_char(character: char) -> Option<Level> {
        LEVELS.into_iter().find(|level| level.to_char() == character)
    }

    /// What a person calls it.
    pub const fn word(self) -> &'static str {
        match self {
            One => "high",
            Zero => "low",
            H => "pulled high",
            L => "pulled low",
            Z => "off",
            _ => "unknown",
        }
    }

    /// The standard's character.
    pub const fn to_char(self) -> char {
        match self {
            U => 'U',
            X => 'X',
            Zero => '0',
            One => '1',
            Z => 'Z',
            W => 'W',
            L => 'L',
            H => 'H',
            Dash => '-',
        }
    }

    /// What a net has when one driver gives it this level and another gives it the `other`.
    #[inline]
    pub const fn resolve(self, other: Level) -> Level {
        RESOLUTION[self as usize][other as usize]
    }

    /// What an AND gate makes of two inputs.
    #[inline]
    pub const fn and(self, other: Level) -> Level {
        AND[self as usize][other as usize]
    }

    /// What an OR gate makes of two inputs.
    #[inline]
    pub const fn or(self, other: Level) -> Level {
        OR[self as usize][other as usize]
    }

    /// What an exclusive-OR gate makes of two inputs.
    #[inline]
    pub const fn xor(self, other: Level) -> Level {
        XOR[self as usize][other as usize]
    }

    /// What an inverter makes of an input.
    #[inline]
    #[allow(clippy::should_implement_trait)] // named like `and`, `or` and `xor`
    pub const fn not(self) -> Level {
        match self {
            U => U,
            Zero | L => One,
            One | H => Zero,
            X | Z | W | Dash => X,
        }
    }

    /// What an input sees: low, high, or `X` for anything else.
    #[inline]
    pub const fn to_x01(self) -> Level {
        match self {
            Zero | L => Zero,
            One | H => One,
            U | X | Z | W | Dash => X,
        }
    }

    /// High, driven or pulled.
    #[inline]
    pub const fn is_high(self) -> bool {
        matches!(self, One | H)
    }

    /// Low, driven or pulled.
    #[inline]
    pub const fn is_low(self) -> bool {
        matches!(self, Zero | L)
    }

    /// Low or high, driven or pulled.
    #[inline]
    pub const fn is_known(self) -> bool {
        self.is_high() || self.is_low()
    }

    /// The level as it comes through a resistor: weak where it was driven.
    #[inline]
    pub const fn weak(self) -> Level {
        match self {
            Zero => L,
            One => H,
            U | X => W,
            Z | W | L | H | Dash => self,
        }
    }

    /// Which of two drivers wins on a net.
    const fn strength(self) -> u8 {
        match self {
            U | X | Zero | One | Dash => 2,
            W | L | H => 1,
            Z => 0,
        }
    }
}

impl fmt::Display for Level {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.to_char().encode_utf8(&mut [0; 4]))
    }
}

impl serde::Serialize for Level {
    /// As the standard's character.
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_char(self.to_char())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ORDER: &str = "UX01ZWLH-";

    // The tables below are from IEEE Std 1164-1993, package body std_logic_1164, from memory: resolution_table,
    // and_table, or_table, xor_table, not_table. Rows and columns are in the order U X 0 1 Z W L H -.
    const RESOLUTION_TABLE: [&str; 9] = [
        "UUUUUUUUU",
        "UXXXXXXXX",
        "UX0X0000X",
        "UXX11111X",
        "UX01ZWLHX",
        "UX01WWWWX",
        "UX01LWLWX",
        "UX01HWWHX",
        "UXXXXXXXX",
    ];
    const AND_TABLE: [&str; 9] = [
        "UU0UUU0UU",
        "UX0XXX0XX",
        "000000000",
        "UX01XX01X",
        "UX0XXX0XX",
        "UX0XXX0XX",
        "000000000",
        "UX01XX01X",
        "UX0XXX0XX",
    ];
    const OR_TABLE: [&str; 9] = [
        "UUU1UUU1U",
        "UXX1XXX1X",
        "UX01XX01X",
        "111111111",
        "UXX1XXX1X",
        "UXX1XXX1X",
        "UX01XX01X",
        "111111111",
        "UXX1XXX1X",
    ];
    const XOR_TABLE: [&str; 9] = [
        "UUUUUUUUU",
        "UXXXXXXXX",
        "UX01XX01X",
        "UX10XX10X",
        "UXXXXXXXX",
        "UXXXXXXXX",
        "UX01XX01X",
        "UX10XX10X",
        "UXXXXXXXX",
    ];
    const NOT_TABLE: &str = "UX10XX10X";
    // The same standard's conversion table cvt_to_x01, from memory.
    const TO_X01_TABLE: &str = "XX01XX01X";

    fn levels(text: &str) -> impl Iterator<Item = Level> {
        text.chars().map(|c| Level::from_char(c).expect("a character of the standard"))
    }

    #[test]
    fn tables_are_those_of_the_standard() {
        let check = |name: &str, table: [&str; 9], operation: fn(Level, Level) -> Level| {
            for (a, row) in levels(ORDER).zip(table) {
                assert_eq!(row.len(), 9);
                for (b, expected) in levels(ORDER).zip(levels(row)) {
                    assert_eq!(operation(a, b), expected, "{a} {name} {b}");
                }
            }
        };
        check("resolve", RESOLUTION_TABLE, Level::resolve);
        check("and", AND_TABLE, Level::and);
        check("or", OR_TABLE, Level::or);
        check("xor", XOR_TABLE, Level::xor);
        assert!(levels(ORDER).map(Level::not).eq(levels(NOT_TABLE)));
        assert!(levels(ORDER).map(Level::to_x01).eq(levels(TO_X01_TABLE)));
    }

    #[test]
    fn drivers_resolve_the_same_in_any_order() {
        for a in LEVELS {
            for b in LEVELS {
                assert_eq!(a.resolve(b), b.resolve(a));
                for c in LEVELS {
                    assert_eq!(a.resolve(b).resolve(c), a.resolve(b.resolve(c)));
                }
            }
        }
    }

    #[test]
    fn numbers_and_characters_follow_the_order_of_the_standard() {
        for (number, (level, character)) in (0..).zip(levels(ORDER).zip(ORDER.chars())) {
            assert_eq!(level as u8, number);
            assert_eq!(Level::from_u8(number), level);
            assert_eq!(level.to_string(), character.to_string());
        }
        assert_eq!(Level::from_u8(200), Dash);
        assert_eq!(Level::from_char('x'), None);
        assert_eq!(serde_json::to_string(&[One, Dash]).expect("text"), r#"["1","-"]"#);
    }

    #[test]
    fn pulled_levels_count_as_known_and_weak_ones_lose() {
        let of = |test: fn(Level) -> bool| LEVELS.into_iter().filter(|&l| test(l)).collect::<Vec<_>>();
        assert_eq!(of(Level::is_high), [One, H]);
        assert_eq!(of(Level::is_low), [Zero, L]);
        assert_eq!(of(Level::is_known), [Zero, One, L, H]);
        assert!(levels(ORDER).map(Level::weak).eq(levels("WWLHZWLH-")));
    }
}
