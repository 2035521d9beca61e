//! A table of air, row by row: what was read goes out again, with what follows from it.

use std::{
    fs::File,
    io::{self, Read, Write},
    path::Path,
};

use csv::{ByteRecord, ReaderBuilder, Terminator, WriterBuilder};
use thiserror::Error;

use super::AirError;
use crate::physics::{BelowFreezing, MoistAir, MoistAirError};
use crate::units::{OutOfRange, Pressure, RelativeHumidity, Temperature};

/// The columns that are read, in the order in which they are written.
const READ: [&str; 3] = ["temperature_celsius", "relative_humidity_percent", "pressure_pascals"];
/// The columns that are added.
const ADDED: [&str; 9] = [
    "humidity_ratio_kg_per_kg",
    "dew_point_celsius",
    "frost_point_celsius",
    "wet_bulb_celsius",
    "enthalpy_kj_per_kg",
    "specific_volume_m3_per_kg",
    "vapour_pressure_pascals",
    "vapour_pressure_deficit_pascals",
    "error",
];
/// Longer cells are cut in messages.
const LONGEST_SHOWN: usize = 40;

/// Why a table as a whole cannot be read.
#[derive(Debug, Error)]
pub(super) enum TableError {
    /// The file is not there, or not readable.
    #[error("cannot read {file}: {error}")]
    Unreadable { file: String, error: io::Error },
    /// Not even a line of names.
    #[error("{file} is empty: its first line must name the columns {}", READ.join(", "))]
    Empty { file: String },
    /// A column is not there.
    #[error("{file} has no column {missing}; its first line names {found}")]
    MissingColumn { file: String, missing: String, found: String },
    /// A column is there twice.
    #[error("{file} has the column {column} twice")]
    RepeatedColumn { file: String, column: &'static str },
    /// Reading stopped in the middle.
    #[error("reading {file} failed: {error}")]
    Broken { file: String, error: csv::Error },
}

/// Why a row has no values.
#[derive(Debug, Error)]
enum RowError {
    #[error("{column} is missing")]
    Missing { column: &'static str },
    #[error("{column} is not a number: `{cell}`")]
    NotANumber { column: &'static str, cell: String },
    #[error("relative humidity {percent} % is outside 0 to 150 %")]
    RelativeHumidity { percent: f64 },
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    #[error(transparent)]
    Impossible(#[from] MoistAirError),
}

/// Reads `file` (`-` is standard input) and writes the widened table.
///
/// # Errors
/// When the table as a whole cannot be read, or the output not written; an impossible row is no error.
pub(super) fn convert(file: &Path, below_freezing: BelowFreezing, output: &mut impl Write) -> Result<(), AirError> {
    if file.as_os_str() == "-" {
        // Rows may arrive one by one from a running program: each answer goes out at once.
        let input = io::stdin().lock();
        return convert_from(input, "standard input", Flush::EveryRow, below_freezing, output);
    }
    let name = file.display().to_string();
    let input = File::open(file).map_err(|error| TableError::Unreadable { file: name.clone(), error })?;
    convert_from(input, &name, Flush::AtTheEnd, below_freezing, output)
}

#[derive(Clone, Copy, PartialEq)]
enum Flush {
    EveryRow,
    AtTheEnd,
}

fn convert_from(
    input: impl Read,
    name: &str,
    flush: Flush,
    below_freezing: BelowFreezing,
    output: &mut impl Write,
) -> Result<(), AirError> {
    let mut reader = ReaderBuilder::new().has_headers(false).flexible(true).from_reader(input);
    let mut record = ByteRecord::new();
    let broken = |error| TableError::Broken { file: name.to_owned(), error };
    if !reader.read_byte_record(&mut record).map_err(broken)? {
        return Err(TableError::Empty { file: name.to_owned() }.into());
    }
    let places = columns(&record, name)?;
    let mut writer = WriterBuilder::new().terminator(Terminator::Any(b'\n')).from_writer(output);
    let mut row = ByteRecord::new();
    row.extend(READ.iter().chain(&ADDED).map(|column| column.as_bytes()));
    writer.write_byte_record(&row).map_err(unwritable)?;
    while reader.read_byte_record(&mut record).map_err(broken)? {
        let cells = places.map(|place| record.get(place).unwrap_or_default());
        row.clear();
        row.extend(cells);
        match state(cells, below_freezing) {
            Ok(air) => row.extend(values(air).iter().map(String::as_bytes)),
            Err(error) => {
                row.extend([[].as_slice(); ADDED.len() - 1]);
                row.push_field(error.to_string().as_bytes());
            }
        }
        writer.write_byte_record(&row).map_err(unwritable)?;
        if flush == Flush::EveryRow {
            writer.flush()?;
        }
    }
    Ok(writer.flush()?)
}

/// The writer only fails where its output does.
fn unwritable(error: csv::Error) -> AirError {
    AirError::Output(match error.into_kind() {
        csv::ErrorKind::Io(error) => error,
        other => io::Error::other(format!("{other:?}")),
    })
}

/// Where the read columns stand.
fn columns(header: &ByteRecord, file: &str) -> Result<[usize; 3], TableError> {
    // The reader has taken a byte order mark away.
    let names: Vec<String> = header.iter().map(|cell| String::from_utf8_lossy(cell).trim().to_owned()).collect();
    let mut places = [0; READ.len()];
    let mut missing = Vec::new();
    for (place, column) in places.iter_mut().zip(READ) {
        let mut found = names.iter().enumerate().filter(|(_, name)| *name == column).map(|(index, _)| index);
        match (found.next(), found.next()) {
            (Some(index), None) => *place = index,
            (Some(_), Some(_)) => return Err(TableError::RepeatedColumn { file: file.to_owned(), column }),
            (None, _) => missing.push(column),
        }
    }
    if missing.is_empty() {
        return Ok(places);
    }
    let found: String = shown(&names.join(", "));
    Err(TableError::MissingColumn { file: file.to_owned(), missing: missing.join(" and no column "), found })
}

/// The beginning of a text that may be long.
fn shown(text: &str) -> String {
    let mut shown: String = text.chars().take(LONGEST_SHOWN).collect();
    if shown.len() < text.len() {
        shown.push('…');
    }
    shown
}

fn number(cell: &[u8], column: &'static str) -> Result<f64, RowError> {
    let text = String::from_utf8_lossy(cell);
    let text = text.trim();
    if text.is_empty() {
        return Err(RowError::Missing { column });
    }
    match text.parse::<f64>() {
        Ok(number) if number.is_finite() => Ok(number),
        _ => Err(RowError::NotANumber { column, cell: shown(text) }),
    }
}

fn state(cells: [&[u8]; 3], below_freezing: BelowFreezing) -> Result<MoistAir, RowError> {
    let temperature = Temperature::from_celsius(number(cells[0], READ[0])?)?;
    let percent = number(cells[1], READ[1])?;
    let humidity = RelativeHumidity::from_percent(percent).map_err(|_| RowError::RelativeHumidity { percent })?;
    let pressure = Pressure::from_pascals(number(cells[2], READ[2])?)?;
    Ok(MoistAir::from_relative_humidity(temperature, humidity, below_freezing, pressure)?)
}

/// The cells of the added columns.
fn values(air: MoistAir) -> [String; ADDED.len()] {
    let celsius = |point: Temperature| fixed(point.celsius(), 4);
    [
        significant(air.humidity_ratio().kilograms_per_kilogram()),
        air.dew_point().map(celsius).unwrap_or_default(),
        air.frost_point().map(celsius).unwrap_or_default(),
        celsius(air.wet_bulb()),
        fixed(air.enthalpy().kilojoules_per_kilogram(), 4),
        fixed(air.specific_volume().cubic_metres_per_kilogram(), 6),
        fixed(air.vapour_pressure().pascals(), 4),
        fixed(air.vapour_pressure_deficit().pascals(), 4),
        String::new(),
    ]
}

/// A number with this many decimals, and no minus before zero.
fn fixed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    if text.bytes().all(|byte| matches!(byte, b'-' | b'0' | b'.')) { text.replace('-', "") } else { text }
}

/// Seven significant digits, without an exponent, of a number below ten.
fn significant(value: f64) -> String {
    if value <= 0.0 {
        return "0".to_owned();
    }
    let zeros = (-value.log10().floor()).clamp(0.0, 20.0);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0…20")]
    let decimals = zeros as usize + 6;
    format!("{value:.decimals$}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_keep_seven_digits_and_zero_has_no_sign() {
        assert_eq!(significant(0.003_790_123_49), "0.003790123");
        assert_eq!(significant(1.5), "1.500000");
        assert_eq!(significant(1.234_567_89e-6), "0.000001234568");
        assert_eq!(significant(0.0), "0");
        assert_eq!(fixed(-0.000_01, 4), "0.0000");
        assert_eq!(fixed(-0.000_06, 4), "-0.0001");
    }
}
