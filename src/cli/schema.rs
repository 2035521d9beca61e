//! `mistwright schema`: what a configuration file may say, for editors and for people.

use std::{
    io::{self, Write},
    process::ExitCode,
};

use clap::Args;

use super::FAILED;
use crate::config::schema;

/// Print the JSON Schema of the configuration file, or its reference page.
///
/// Editors that know JSON Schema complete and check the file by it.
#[derive(Debug, Args)]
pub(super) struct SchemaArguments {
    /// Print the reference page of all keys and of the crop catalogue, in Markdown, instead.
    #[arg(long)]
    reference: bool,
}

pub(super) fn run(arguments: &SchemaArguments) -> ExitCode {
    let text = if arguments.reference { schema::reference() } else { format!("{:#}\n", schema::json()) };
    match io::stdout().lock().write_all(text.as_bytes()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            eprintln!("mistwright: cannot write: {error}");
            ExitCode::from(FAILED)
        }
        _ => ExitCode::SUCCESS,
    }
}
