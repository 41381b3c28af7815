//! What a pin gives and takes, from the sheet of its family, at the supply of its chip.

use crate::circuit::{Chip, ChipKey, Circuit};
use crate::key::KeyVec;
use crate::part::sheet::Column;
use crate::part::{ColumnKind, Edge, Family, LevelName, PinIndex, PinKind};
use crate::quantity::si::{Amperes, Seconds, SheetUnit, Volts};
use crate::quantity::{Quantity, Temperature};

/// One side of an output: high or low.
#[derive(Clone, Debug, PartialEq)]
pub struct Side {
    /// The voltage without any loss: the supply, or ground.
    pub rail: Volts,
    /// What is guaranteed: current (out of the pin when high, into it when low) and voltage, by rising current.
    pub points: Vec<(Amperes, Volts)>,
}

impl Side {
    /// The largest current that the sheet gives a level for.
    pub fn rated(&self) -> Amperes {
        self.points.last().map_or(Amperes::ZERO, |point| point.0)
    }

    /// The guaranteed level without a load worth speaking of.
    pub fn unloaded(&self) -> Volts {
        self.points.first().map_or(self.rail, |point| point.1)
    }
}

/// An output pin.
#[derive(Clone, Debug, PartialEq)]
pub struct Output {
    /// When it drives high; `None` for an open drain.
    pub high: Option<Side>,
    /// When it drives low.
    pub low: Option<Side>,
    /// The most current through it when it is off, either way.
    pub leak: Amperes,
    /// The absolute maximum of the current through it, either way.
    pub limit: Option<Amperes>,
    /// Out of it when it is high and held at ground: the least and the most that the sheet gives.
    pub short: Option<(Option<Amperes>, Amperes)>,
    /// True when the figures are our rule, not a sheet's.
    pub assumed: bool,
}

/// An input pin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Input {
    /// Least voltage that counts as high.
    pub high: Volts,
    /// Most voltage that counts as low.
    pub low: Volts,
    /// The most current into it at high.
    pub current_high: Amperes,
    /// The most current out of it at low.
    pub current_low: Amperes,
    /// True when the current at low always flows out, and at high in; a CMOS leakage may go either way.
    pub bipolar: bool,
    /// True when the figures are our rule, not a sheet's.
    pub assumed: bool,
}

/// The figures of every chip.
#[derive(Clone, Debug, Default)]
pub struct Sheets {
    chips: KeyVec<ChipKey, ChipSheet>,
}

#[derive(Clone, Debug, Default)]
struct ChipSheet {
    plain: Option<Output>,
    bus: Option<Output>,
    input: Option<Input>,
}

/// A low current above this is a base current, not a leakage.
pub const BASE_CURRENT: Amperes = Amperes(10e-6);
/// The leakage of an open collector whose sheet gives none (Polish TTL handbook, table 4.4).
const OPEN_COLLECTOR_LEAK: Amperes = Amperes(250e-6);

impl Sheets {
    /// Of all chips of a circuit.
    pub fn new(circuit: &Circuit) -> Sheets {
        let chips = circuit.chips.values().map(chip_sheet).collect();
        Sheets { chips }
    }

    /// What a pin can drive; `None` when it cannot, or no figures are known.
    pub fn output(&self, circuit: &Circuit, chip: ChipKey, pin: PinIndex) -> Option<Output> {
        let sheet = &self.chips[chip];
        let kind = circuit.chips[chip].part.pins[pin].kind;
        let plain = sheet.plain.as_ref();
        match kind {
            PinKind::Out => plain.cloned(),
            PinKind::ThreeState | PinKind::InOut => sheet.bus.as_ref().or(plain).cloned(),
            PinKind::OpenDrain => plain.map(|output| Output { high: None, ..output.clone() }),
            _ => None,
        }
    }

    /// What a pin needs and takes; `None` when it does not listen, or no figures are known.
    pub fn input(&self, circuit: &Circuit, chip: ChipKey, pin: PinIndex) -> Option<Input> {
        let row = &circuit.chips[chip];
        let input = self.chips[chip].input.filter(|_| row.part.pins[pin].is_input())?;
        Some(if row.part.pins[pin].schmitt { schmitt(row, pin, input) } else { input })
    }
}

fn chip_sheet(chip: &Chip) -> ChipSheet {
    if !chip.fed {
        return ChipSheet::default();
    }
    let supply = chip.supply.volts();
    if let Some(family) = &chip.electrical {
        return family_sheet(family, supply);
    }
    let graded = chip.sheet.is_some_and(|at| chip.part.sheets[at].grade);
    if !graded {
        return ChipSheet::default();
    }
    if chip.part.function.oscillator.is_some() {
        let side = |rail: Volts, share: f64| Side { rail, points: vec![(Amperes(4e-3), supply * share)] };
        let plain = Output {
            high: Some(side(supply, 0.9)),
            low: Some(side(Volts::ZERO, 0.1)),
            leak: Amperes::ZERO,
            limit: None,
            short: None,
            assumed: true,
        };
        return ChipSheet { plain: Some(plain), ..ChipSheet::default() };
    }
    let bus = Output {
        high: Some(Side { rail: supply, points: vec![(Amperes(0.4e-3), Volts(2.4).min(supply))] }),
        low: Some(Side { rail: Volts::ZERO, points: vec![(Amperes(2.1e-3), Volts(0.4))] }),
        leak: Amperes(10e-6),
        limit: None,
        short: None,
        assumed: true,
    };
    let input = Input {
        high: Volts(2.0),
        low: Volts(0.8),
        current_high: Amperes(10e-6),
        current_low: Amperes(10e-6),
        bipolar: false,
        assumed: true,
    };
    ChipSheet { plain: Some(bus.clone()), bus: Some(bus), input: Some(input) }
}

fn family_sheet(family: &Family, supply: Volts) -> ChipSheet {
    let figure = |name: LevelName| at_supply(family, name, supply);
    let bipolar = figure(LevelName::InputCurrentLow).is_some_and(|amps| amps > BASE_CURRENT);
    let side = |name: LevelName, high: bool| {
        let points = curve(family, name, supply, high && !bipolar);
        (!points.is_empty()).then_some(Side { rail: if high { supply } else { Volts::ZERO }, points })
    };
    let leak = figure(LevelName::OffCurrent).unwrap_or(if bipolar {
        OPEN_COLLECTOR_LEAK
    } else {
        figure(LevelName::InputCurrentHigh).unwrap_or_default()
    });
    let output = |high, low, limit, short| {
        let (high, low) = (side(high, true), side(low, false));
        (high.is_some() || low.is_some()).then_some(Output { high, low, leak, limit, short, assumed: false })
    };
    let plain_limit = figure(LevelName::OutputCurrentLimit);
    let bus_limit = figure(LevelName::BusOutputCurrentLimit).or(plain_limit);
    let short = |name: LevelName| {
        let least = of_column(family, name, ColumnKind::Min);
        of_column(family, name, ColumnKind::Limit).map(|most| (least, most))
    };
    let plain_short = short(LevelName::ShortCircuitCurrent);
    let bus_short = short(LevelName::BusShortCircuitCurrent).or(plain_short);
    let input = || {
        Some(Input {
            high: at_supply(family, LevelName::InputHigh, supply)?,
            low: at_supply(family, LevelName::InputLow, supply)?,
            current_high: figure(LevelName::InputCurrentHigh)?,
            current_low: figure(LevelName::InputCurrentLow)?,
            bipolar,
            assumed: false,
        })
    };
    ChipSheet {
        plain: output(LevelName::OutputHigh, LevelName::OutputLow, plain_limit, plain_short),
        bus: output(LevelName::BusOutputHigh, LevelName::BusOutputLow, bus_limit, bus_short),
        input: input(),
    }
}

/// The absolute maximum of the current through the power and the ground pin of a chip.
pub fn supply_pin_limit(chip: &Chip) -> Option<Amperes> {
    let family = chip.electrical.as_ref()?;
    let figure = |name: LevelName| at_supply(family, name, chip.supply.volts());
    let bus = |pin: &crate::part::Pin| matches!(pin.kind, PinKind::ThreeState | PinKind::InOut);
    let of_bus = || figure(LevelName::BusSupplyPinCurrentLimit);
    let plain = figure(LevelName::SupplyPinCurrentLimit);
    if chip.part.pins.iter().any(bus) { of_bus().or(plain) } else { plain }
}

/// What the inputs of a chip stand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VoltageRating {
    /// The largest voltage.
    pub volts: Volts,
    /// Above it a clamp to the supply conducts, which stands so much; `None` without a clamp.
    pub clamp: Option<Amperes>,
    /// True when no sheet tells it: a clamp is assumed.
    pub assumed: bool,
}

/// Above its supply by this a clamp conducts (the sheets of HC and AC parts).
const CLAMPS_ABOVE: Volts = Volts(0.5);
/// What a clamp stands where no sheet tells it (HC and AC: 20 mA).
const CLAMP: Amperes = Amperes(20e-3);

/// What a pin of a chip that is fed stands while it does not drive; `None` when that does not depend on its supply, or is
/// not known. An output that lets go clamps to its own supply even in families whose inputs do not (NXP
/// 74AHC245/74AHCT245); one of a bipolar family does not. An open drain of a CMOS family is taken to clamp where no sheet
/// tells.
pub fn voltage_rating(chip: &Chip, pin: PinIndex) -> Option<VoltageRating> {
    let supply = chip.supply.volts();
    let kind = chip.part.pins[pin].kind;
    let clamped =
        |clamp: Amperes, assumed: bool| VoltageRating { volts: supply + CLAMPS_ABOVE, clamp: Some(clamp), assumed };
    let Some(family) = &chip.electrical else {
        let graded = chip.sheet.is_some_and(|at| chip.part.sheets[at].grade);
        return (graded && chip.part.pins[pin].is_input()).then(|| clamped(CLAMP, true));
    };
    let volts = |name: LevelName| at_supply::<Volts>(family, name, supply);
    let amps = |name: LevelName| at_supply::<Amperes>(family, name, supply);
    let bipolar = amps(LevelName::InputCurrentLow).is_some_and(|amps| amps > BASE_CURRENT);
    let clamp = amps(LevelName::InputClampLimit);
    let at_most = |volts: Volts| VoltageRating { volts, clamp: None, assumed: false };
    match kind {
        PinKind::OpenDrain => volts(LevelName::OutputVoltageLimit)
            .map(at_most)
            .or_else(|| (!bipolar).then(|| clamped(clamp.unwrap_or(CLAMP), true))),
        PinKind::ThreeState | PinKind::InOut if !bipolar => Some(clamped(clamp.unwrap_or(CLAMP), false)),
        PinKind::In | PinKind::InOut => match volts(LevelName::InputVoltageLimit) {
            Some(volts) => Some(at_most(volts)),
            None => clamp.map(|amps| clamped(amps, false)),
        },
        _ => None,
    }
}

/// The slowest edge that an input is made for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum EdgeLimit {
    /// From 10 % to 90 % of the supply.
    RiseTime(Seconds),
    /// For each volt between the levels that count as low and high.
    PerVolt(Seconds),
}

/// The slowest edge that the inputs of a chip are made for, as its family's sheet tells it.
pub fn slowest_edge(chip: &Chip) -> Option<EdgeLimit> {
    let family = chip.electrical.as_ref()?;
    let seconds = at_supply(family, LevelName::InputTransition, chip.supply.volts())?;
    let mut rows = family.figures(LevelName::InputTransition);
    let each_volt = rows.any(|row| row.at.is_some());
    Some(if each_volt { EdgeLimit::PerVolt(seconds) } else { EdgeLimit::RiseTime(seconds) })
}

/// A Schmitt input needs its own thresholds, where the part's sheet gives them.
fn schmitt(chip: &Chip, pin: PinIndex, input: Input) -> Input {
    let bit = chip.part.function.inputs.iter().position(|&other| other == pin);
    let threshold = |edge: Edge, kind: ColumnKind| {
        let sheet = &chip.part.sheets[chip.sheet?];
        let rows = sheet.blocks.iter().flat_map(|block| {
            let mine = block.thresholds.iter();
            let mine = mine.filter(|row| Some(row.input) == bit && row.edge == edge);
            mine.map(move |row| (block.voltage, row))
        });
        let (voltage, row) = rows.min_by_key(|(at, _)| (at.raw() - chip.supply.raw()).abs())?;
        let mut given = sheet.columns.iter().zip(&row.figures);
        let (_, volts) = given.find(|(column, figure)| column.kind == kind && figure.is_some())?;
        Some(chip.supply.volts() * ((*volts)?.volts() / voltage.volts()))
    };
    Input {
        high: threshold(Edge::Rise, ColumnKind::Limit).unwrap_or(input.high),
        low: threshold(Edge::Fall, ColumnKind::Min).unwrap_or(input.low),
        ..input
    }
}

/// The guaranteed figure of a row on a bench, 0 to 70 C: of the narrowest range that covers it, else of the widest
/// there is.
fn guaranteed(columns: &[Column], figures: &[Option<Quantity>]) -> Option<Quantity> {
    let (cold, hot) = (Temperature::ZERO, Temperature::from_raw(70_000));
    let columns = columns.iter().zip(figures);
    let given = columns.filter_map(|(column, figure)| Some((column, (*figure)?)));
    let limits: Vec<_> = given.clone().filter(|(column, _)| column.kind == ColumnKind::Limit).collect();
    let span = |column: &Column| column.hottest.raw() - column.coldest.raw();
    let covering = limits
        .iter()
        .filter(|(column, _)| column.coldest <= cold && column.hottest >= hot)
        .min_by_key(|(column, _)| span(column));
    covering
        .or_else(|| limits.iter().max_by_key(|(column, _)| span(column)))
        .copied()
        .or_else(|| given.clone().next())
        .map(|(_, figure)| figure)
}

/// The first figure of a kind of column.
fn of_column<U: SheetUnit>(family: &Family, name: LevelName, kind: ColumnKind) -> Option<U> {
    family.figures(name).find_map(|level| {
        let mut given = family.columns.iter().zip(&level.figures);
        let (_, figure) = given.find(|(column, figure)| column.kind == kind && figure.is_some())?;
        figure.and_then(U::of)
    })
}

/// A figure of a family at a supply voltage: between the sheet's voltages on a straight line, else the nearest.
pub fn at_supply<U: SheetUnit>(family: &Family, name: LevelName, supply: Volts) -> Option<U> {
    let mut rows: Vec<(Volts, U)> = family
        .figures(name)
        .filter_map(|level| Some((level.supply.volts(), U::of(guaranteed(&family.columns, &level.figures)?)?)))
        .collect();
    rows.sort_by(|a, b| a.0.total_cmp(&b.0));
    let after = rows.partition_point(|row| row.0 < supply);
    match (after.checked_sub(1).map(|at| rows[at]), rows.get(after)) {
        (Some(low), Some(&high)) => Some(between(low, high, supply)),
        (only, other) => only.or(other.copied()).map(|row| row.1),
    }
}

/// What an input adds to the supply current of its chip at a TTL high level: as the sheet of the part tells it, at the
/// voltage nearest to its supply, else as that of the family does.
pub(super) fn extra_current(chip: &Chip, pin: PinIndex) -> Option<Amperes> {
    let own = || {
        // Where another family's sheet stands in, nobody knows it.
        let sheet = &chip.part.sheets[chip.sheet.filter(|_| chip.estimate.is_none())?];
        let rows = sheet.blocks.iter().flat_map(|block| {
            let mine = block.extra_currents.iter().filter(|row| row.pin == pin);
            mine.map(|row| (block.voltage, row))
        });
        let (_, row) = rows.min_by_key(|(at, _)| (at.raw() - chip.supply.raw()).abs())?;
        Amperes::of(guaranteed(&sheet.columns, &row.figures)?)
    };
    let family = || {
        let family = chip.electrical.as_ref()?;
        at_supply(family, LevelName::ExtraSupplyCurrent, chip.supply.volts())
    };
    own().or_else(family)
}

fn between<U: SheetUnit>(low: (Volts, U), high: (Volts, U), at: Volts) -> U {
    let (from, to) = (low.1.number(), high.1.number());
    U::from_number(from + (to - from) * (at - low.0).0 / (high.0 - low.0).0)
}

/// An output level over the current: the points of the sheet's voltage, or between those of two. A CMOS output follows
/// its supply: `follows`.
fn curve(family: &Family, name: LevelName, supply: Volts, follows: bool) -> Vec<(Amperes, Volts)> {
    let mut blocks: Vec<(Volts, Vec<(Amperes, Volts)>)> = Vec::new();
    for level in family.figures(name) {
        let Some(volts) = guaranteed(&family.columns, &level.figures).and_then(Volts::of) else {
            continue;
        };
        let amps = level.at.and_then(Amperes::of).unwrap_or_default();
        let at = level.supply.volts();
        let moved = if follows { volts - at } else { volts };
        match blocks.iter_mut().find(|block| block.0 == at) {
            Some(block) => block.1.push((amps, moved)),
            None => blocks.push((at, vec![(amps, moved)])),
        }
    }
    blocks.sort_by(|a, b| a.0.total_cmp(&b.0));
    for block in &mut blocks {
        block.1.sort_by(|a, b| a.0.total_cmp(&b.0));
    }
    let after = blocks.partition_point(|block| block.0 < supply);
    let low = after.checked_sub(1).map(|at| &blocks[at]);
    let points = match (low, blocks.get(after)) {
        (Some(low), Some(high)) => {
            // Where a sheet has fewer points its last one stands for the others.
            let most = low.1.len().max(high.1.len());
            let point = |block: &[(Amperes, Volts)], at: usize| block[at.min(block.len() - 1)];
            let both = (0..most).map(|at| (point(&low.1, at), point(&high.1, at)));
            both.map(|(a, b)| {
                (between((low.0, a.0), (high.0, b.0), supply), between((low.0, a.1), (high.0, b.1), supply))
            })
            .collect()
        }
        (only, other) => only.or(other).map_or_else(Vec::new, |block| block.1.clone()),
    };
    let back = if follows { supply } else { Volts::ZERO };
    points.into_iter().map(|(amps, volts)| (amps, volts + back)).collect()
}
