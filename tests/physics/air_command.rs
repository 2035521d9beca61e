//! `mistwright air`, through the real binary.

use std::{
    io::{BufRead, BufReader, Write},
    process::{Command, Output, Stdio},
    sync::mpsc,
    thread,
    time::Duration,
};

use super::near;

const HEADER: &str = "temperature_celsius,relative_humidity_percent,pressure_pascals,humidity_ratio_kg_per_kg,\
                      dew_point_celsius,frost_point_celsius,wet_bulb_celsius,enthalpy_kj_per_kg,\
                      specific_volume_m3_per_kg,vapour_pressure_pascals,vapour_pressure_deficit_pascals,error";

fn command(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_mistwright"));
    command.arg("air").args(arguments).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

fn air(arguments: &[&str]) -> Output {
    command(arguments).output().unwrap()
}

fn printed(arguments: &[&str]) -> String {
    let output = air(arguments);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

#[track_caller]
fn refused(output: &Output, reason: &str) {
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{said}");
    assert!(said.contains(reason), "{said}");
    assert!(output.stdout.is_empty(), "something was printed beside the error");
}

fn json(arguments: &[&str]) -> serde_json::Value {
    let mut all = arguments.to_vec();
    all.push("--json");
    serde_json::from_str(&printed(&all)).unwrap()
}

fn table_with(arguments: &[&str], input: &[u8]) -> Output {
    let mut all = vec!["--csv", "-"];
    all.extend(arguments);
    let mut child = command(&all).spawn().unwrap();
    // A refusal may close the pipe before all is written.
    let _ = child.stdin.take().unwrap().write_all(input);
    child.wait_with_output().unwrap()
}

/// The rows of a table, cell by cell, after checking the header.
fn table(input: &str) -> Vec<Vec<String>> {
    let output = table_with(&[], input.as_bytes());
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let text = String::from_utf8(output.stdout).unwrap();
    let mut lines = text.lines();
    assert_eq!(lines.next().unwrap(), HEADER);
    lines.map(|line| line.split(',').map(str::to_owned).collect()).collect()
}

const NAMES: &str = "temperature_celsius,relative_humidity_percent,pressure_pascals\n";

#[test]
fn each_pair_of_options_describes_the_same_air() {
    let given = [
        ("--temperature", "20 °C"),
        ("--relative-humidity", "50 %"),
        ("--dew-point", "9.261 °C"),
        ("--wet-bulb", "13.78 °C"),
        ("--humidity-ratio", "7.295 g/kg"),
    ];
    for first in 0..given.len() {
        for second in first + 1..given.len() {
            if (first, second) == (2, 4) {
                continue;
            }
            let pair = [given[first].0, given[first].1, given[second].0, given[second].1];
            let values = json(&pair);
            near(&pair.join(" "), values["temperature_celsius"].as_f64().unwrap(), 20.0, 0.05);
            near(&pair.join(" "), values["relative_humidity_percent"].as_f64().unwrap(), 50.0, 0.3);
        }
    }
}

#[test]
fn either_unit_system_goes_in_and_comes_out() {
    let metric = json(&["--temperature", "-10 °C", "--relative-humidity", "80 %", "--elevation", "1500 m"]);
    let us = json(&["--temperature", "14 °F", "--relative-humidity", "80 %", "--elevation", "4921.26 ft"]);
    near(
        "W",
        us["humidity_ratio_kg_per_kg"].as_f64().unwrap(),
        metric["humidity_ratio_kg_per_kg"].as_f64().unwrap(),
        1e-8,
    );
    // ASHRAE Fundamentals, chapter 1, table 1.
    near("pressure", metric["pressure_pascals"].as_f64().unwrap(), 84_556.0, 5.0);
    let text = printed(&["--temperature", "68 °F", "--relative-humidity", "90 %", "--units", "us"]);
    for part in ["68.0 °F", "gr/lb", "inHg", "Btu/lb", "ft³/lb", "cubic feet"] {
        assert!(text.contains(part), "no {part} in\n{text}");
    }
    assert!(!text.contains("°C"), "{text}");
    // ASHRAE Fundamentals IP edition, chapter 1, table 2, from memory: saturated air at 68 °F has about 32.4 Btu/lb.
    let text = printed(&["--temperature", "68 °F", "--relative-humidity", "100 %", "--units", "us"]);
    assert!(text.contains("32.4 Btu/lb"), "{text}");
    assert!(text.contains("all that it can"), "{text}");
}

#[test]
fn a_number_without_a_unit_is_refused_with_the_units() {
    refused(&air(&["--temperature", "16", "--relative-humidity", "90 %"]), "`16 °C`, or another of: °C, °F");
    refused(&air(&["--temperature", "16 °C", "--relative-humidity", "90"]), "write `90 %`");
    refused(&air(&["--temperature", "16 °C", "--relative-humidity", "90 %", "--pressure", "850"]), "hPa");
}

#[test]
fn anything_but_two_different_quantities_is_refused() {
    refused(&air(&["--temperature", "16 °C"]), "give two of");
    refused(&air(&[]), "0 of them given");
    let three = ["--temperature", "16 °C", "--relative-humidity", "90 %", "--wet-bulb", "15 °C"];
    refused(&air(&three), "3 of them given");
    refused(&air(&["--dew-point", "9 °C", "--humidity-ratio", "7 g/kg"]), "the same quantity");
    refused(&air(&["--temperature", "16 °C", "--dew-point", "17 °C"]), "above the temperature");
    refused(&air(&["--csv", "-", "--temperature", "16 °C"]), "cannot be used with");
    let both = ["--temperature", "1 °C", "--wet-bulb", "0 °C", "--elevation", "5 m", "--pressure", "990 hPa"];
    refused(&air(&both), "cannot be used with");
}

#[test]
fn what_humidity_refers_to_below_freezing_is_asked_for_and_shown() {
    let options = ["--temperature", "-15 °C", "--relative-humidity", "80 %"];
    let water = json(&options);
    let ice = json(&[&options[..], &["--below-freezing", "ice"]].concat());
    let dew_point = |values: &serde_json::Value| values["dew_point_celsius"].as_f64().unwrap();
    assert!(dew_point(&water) - dew_point(&ice) > 1.0);
    assert_eq!(water["relative_humidity_over"], "water");
    assert_eq!(ice["relative_humidity_over"], "ice");
    near("as given", ice["relative_humidity_percent"].as_f64().unwrap(), 80.0, 1e-9);
    let text = printed(&options);
    assert!(text.contains("relative humidity over water") && text.contains("relative humidity over ice"), "{text}");
    let warm = json(&["--temperature", "15 °C", "--relative-humidity", "80 %"]);
    assert!(warm["frost_point_celsius"].is_null(), "{warm}");
}

#[test]
fn a_table_keeps_its_cells_and_gains_what_follows_from_them() {
    let rows = table(&format!("{NAMES}20.00,50,101325\n-10, 8e1 ,85000\n"));
    assert_eq!(rows[0][..3], ["20.00", "50", "101325"]);
    assert_eq!(rows[1][..3], ["-10", " 8e1 ", "85000"]);
    let number = |row: usize, column: usize| rows[row][column].parse::<f64>().unwrap();
    near("W", number(0, 3), 0.007_295, 8e-6);
    near("dew point", number(0, 4), 9.26, 0.02);
    assert_eq!(rows[0][5], "", "no frost point above 0 °C");
    assert!(number(1, 5) > number(1, 4), "frost forms before dew");
    near("deficit", number(0, 10), number(0, 9), 0.5);
    for row in &rows {
        assert_eq!(row.len(), 12);
        assert_eq!(row[11], "");
        assert!(row[3].trim_start_matches(['0', '.']).len() == 7, "not seven digits: {}", row[3]);
        assert_eq!(row[4].split_once('.').unwrap().1.len(), 4, "not four decimals: {}", row[4]);
    }
}

#[test]
fn an_impossible_row_says_why_and_the_rest_still_come_out() {
    let rows = table(&format!(
        "{NAMES}16,92,101325\n16,120,101325\nwarm,92,101325\n16,,101325\n16\n16,92,5\n16,nan,101325\n16,1e400,101325\n\
         300,5,101325\n16,-1,101325\n75,5,30000\n17,92,101325\n"
    ));
    assert_eq!(rows.len(), 12);
    let reasons = [
        "",
        "more than saturated",
        "not a number: `warm`",
        "relative_humidity_percent is missing",
        "relative_humidity_percent is missing",
        "outside 10000 to 120000 Pa",
        "not a number: `nan`",
        "not a number: `1e400`",
        "outside -100 to 200 °C",
        "outside 0 to 150 %",
        "boiling",
        "",
    ];
    for (row, reason) in rows.iter().zip(reasons) {
        assert!(row[11].contains(reason), "{row:?} should say {reason}");
        let empty = row[3..11].iter().all(String::is_empty);
        assert_eq!(empty, !reason.is_empty(), "{row:?}");
        assert_eq!(row[11].is_empty(), reason.is_empty(), "{row:?}");
    }
}

#[test]
fn columns_are_found_by_name_through_a_byte_order_mark_and_foreign_line_ends() {
    let rows = table(
        "\u{feff}pressure_pascals,note,\"temperature_celsius\",relative_humidity_percent\r\n101325,\"a, b\",16,92\r\n\r\n\
         101325,,17,92",
    );
    assert_eq!(rows.len(), 2);
    assert_eq!(rows[0][..3], ["16", "92", "101325"]);
    assert_eq!(rows[1][..3], ["17", "92", "101325"]);
    assert_eq!(rows[1][11], "");
}

#[test]
fn a_cell_that_is_not_text_spoils_only_its_row() {
    let output = table_with(&[], &[NAMES.as_bytes(), b"16,\xff\xfe,101325\n16,92,101325\n"].concat());
    assert!(output.status.success());
    let lines: Vec<_> = output.stdout.split(|byte| *byte == b'\n').collect();
    assert!(lines[1].starts_with(b"16,\xff\xfe,101325,,"), "the cell was not written back as it was read");
    assert!(lines[2].starts_with(b"16,92,101325,0.0104"));
}

#[test]
fn a_table_without_its_columns_is_refused() {
    refused(&table_with(&[], b""), "is empty");
    refused(&table_with(&[], b"temperature_celsius,rh\n1,2\n"), "has no column relative_humidity_percent");
    let twice = b"temperature_celsius,temperature_celsius,relative_humidity_percent,pressure_pascals\n";
    refused(&table_with(&[], twice), "temperature_celsius twice");
    refused(&air(&["--csv", "no-such-file.csv"]), "cannot read no-such-file.csv");
    assert!(table(NAMES).is_empty());
}

#[test]
fn the_tables_humidity_is_over_ice_when_asked() {
    let output = table_with(&["--below-freezing", "ice"], format!("{NAMES}-15,100,101325\n").as_bytes());
    let text = String::from_utf8(output.stdout).unwrap();
    let row: Vec<&str> = text.lines().nth(1).unwrap().split(',').collect();
    near("frost point", row[5].parse().unwrap(), -15.0, 1e-4);
}

#[test]
fn rows_are_answered_one_by_one_and_a_closed_pipe_ends_it_quietly() {
    let mut child = command(&["--csv", "-"]).spawn().unwrap();
    let mut input = child.stdin.take().unwrap();
    let mut output = BufReader::new(child.stdout.take().unwrap());
    input.write_all(format!("{NAMES}16,92,101325\n").as_bytes()).unwrap();
    let (answer, answered) = mpsc::channel();
    let reader = thread::spawn(move || {
        let mut lines = String::new();
        output.read_line(&mut lines).and_then(|_| output.read_line(&mut lines)).unwrap();
        answer.send(lines).unwrap();
    });
    // The input is still open: the answer must not wait for more. The limit only ends a failing test.
    let Ok(lines) = answered.recv_timeout(Duration::from_secs(60)) else {
        child.kill().unwrap();
        panic!("no answer while the input was open");
    };
    reader.join().unwrap();
    assert!(lines.lines().nth(1).unwrap().starts_with("16,92,101325,0.0104"), "{lines}");
    // The reader is gone: the next row cannot be written, and that is no failure.
    let _ = input.write_all(b"17,92,101325\n");
    drop(input);
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success(), "{:?}", output.status);
    assert!(output.stderr.is_empty(), "{}", String::from_utf8_lossy(&output.stderr));
}
