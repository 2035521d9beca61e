//! Writes the manual pages and the shell completions of the command line, which know it from the code itself.
//!
//! `mistwright-documents FOLDER` fills `FOLDER/man` and `FOLDER/completions`. A program of its own, so that nobody's
//! board carries it.

use std::{
    fs,
    io::{self, Write},
    path::Path,
    process::ExitCode,
};

use clap_complete::{Shell, generate_to};

const NAME: &str = "mistwright";

/// What the command line does not know of itself, for the end of the first page.
const SURROUNDINGS: &str = r"
.SH FILES
.TP
\fI/etc/mistwright/mistwright.yaml\fR
The configuration. \fBmistwright check\fR reports every mistake in it at once.
.TP
\fI/etc/mistwright/broker-password\fR, \fIbroker-key\fR, \fIforecast-key\fR
Secrets that systemd hands to the service, so that they may belong to root alone. The configuration asks for them with
\fBpassword\-credential\fR, \fBclient\-key\-credential\fR and \fBapi\-key\-credential\fR.
.TP
\fI/var/lib/mistwright/state.json\fR
What outlives a restart. It may be deleted while the daemon is stopped.
.TP
\fI/usr/share/doc/mistwright/examples\fR
Configurations to start from, and the reference page of all keys.
.SH ENVIRONMENT
.TP
\fBMISTWRIGHT_LOG\fR
Which log lines are written: \fBerror\fR, \fBwarn\fR, \fBinfo\fR (the default), \fBdebug\fR or \fBtrace\fR.
.SH EXIT STATUS
.TP
\fB0\fR
Done, or told to stop.
.TP
\fB1\fR
The work failed; for \fBmistwright check\fR, the file has mistakes.
.TP
\fB2\fR
Arguments, configuration or input data are wrong or cannot be read. systemd does not try again.
.SH SEE ALSO
\fBsystemctl\fR(1), \fBjournalctl\fR(1), \fBmosquitto_sub\fR(1)
";

fn main() -> ExitCode {
    let Some(folder) = std::env::args_os().nth(1) else {
        eprintln!("usage: mistwright-documents FOLDER");
        return ExitCode::from(2);
    };
    match write(Path::new(&folder)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("mistwright-documents: {}: {error}", folder.display());
            ExitCode::FAILURE
        }
    }
}

fn write(folder: &Path) -> io::Result<()> {
    let (man, completions) = (folder.join("man"), folder.join("completions"));
    fs::create_dir_all(&man)?;
    fs::create_dir_all(&completions)?;
    // `help` only repeats what the other pages say.
    let command = mistwright::cli::command().disable_help_subcommand(true);
    clap_mangen::generate_to(command, &man)?;
    let first = man.join(format!("{NAME}.1"));
    fs::OpenOptions::new().append(true).open(first)?.write_all(SURROUNDINGS.trim_start().as_bytes())?;
    for shell in [Shell::Bash, Shell::Fish, Shell::Zsh] {
        generate_to(shell, &mut mistwright::cli::command(), NAME, &completions)?;
    }
    Ok(())
}
