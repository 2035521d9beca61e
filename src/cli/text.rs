//! Text for a terminal: no line is longer than [`WIDTH`].

/// Longest line, in characters.
pub(super) const WIDTH: usize = 100;

/// A text in exactly `width` characters: filled with blanks, or cut.
pub(super) fn fitted(text: &str, width: usize) -> String {
    if text.chars().count() <= width {
        return format!("{text:<width$}");
    }
    let cut: String = text.chars().take(width.saturating_sub(1)).collect();
    format!("{cut}…")
}

/// Lines of at most `width` characters, broken between words.
pub(super) fn wrapped(text: &str, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split(' ') {
        let used = lines.last().map_or(0, |line| line.chars().count());
        if used > 0 && used + 1 + word.chars().count() > width {
            lines.push(String::new());
        }
        if let Some(line) = lines.last_mut() {
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
    }
    lines
}

/// A paragraph behind a mark such as `- `, wrapped and indented by it.
pub(super) fn item(mark: &str, text: &str) -> String {
    let indent = mark.chars().count();
    let lines = wrapped(text, WIDTH - indent).into_iter().zip(0..);
    let lines =
        lines.map(|(line, number)| if number == 0 { format!("{mark}{line}") } else { " ".repeat(indent) + &line });
    lines.collect::<Vec<_>>().join("\n")
}

/// Rows as a table: the first column to the left, as wide as fits, all others to the right.
pub(super) fn table(rows: &[Vec<String>]) -> Vec<String> {
    let columns = rows.iter().map(Vec::len).max().unwrap_or(0);
    let width = |column: usize| rows.iter().filter_map(|row| row.get(column)).map(|cell| cell.chars().count()).max();
    let widths: Vec<usize> = (0..columns).map(|column| width(column).unwrap_or(0)).collect();
    let others: usize = widths.iter().skip(1).map(|width| width + 2).sum();
    let first = widths.first().copied().unwrap_or(0).min(WIDTH.saturating_sub(others).max(8));
    let line = |row: &Vec<String>| {
        let mut text = fitted(row.first().map_or("", String::as_str), first);
        for (cell, width) in row.iter().zip(&widths).skip(1) {
            text.push_str(&format!("  {cell:>width$}"));
        }
        text.trim_end().to_owned()
    };
    rows.iter().map(line).collect()
}
