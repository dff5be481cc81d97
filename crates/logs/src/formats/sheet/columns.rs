//! Which column of a sheet holds what its map names.

use halfshaft_model::SheetSpec;
use halfshaft_model::sheet::{ColumnRef, SheetContent, TimeKind};

/// Columns by index, from 0.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Columns {
    /// Of the time; `None` with a row clock.
    pub time: Option<usize>,
    /// Of what the rows hold.
    pub content: Content,
    /// How many cells a row should have.
    pub width: usize,
}

/// What the rows hold, by column.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Content {
    /// Samples of channels; `None` for a channel this sheet lacks.
    Channels(Vec<Option<usize>>),
    /// Frames.
    Frames {
        bus: Option<usize>,
        id: usize,
        payload: Vec<usize>,
        length: Option<usize>,
        extended: Option<usize>,
    },
}

/// A header that stands over two columns.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Twice {
    pub header: String,
    /// From 1.
    pub first: usize,
    pub second: usize,
}

/// How a sheet's map fits a row of headers.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Match {
    pub columns: Columns,
    /// Columns found by their header.
    pub n_by_header: usize,
    /// Columns found at all.
    pub n_found: usize,
    /// Columns that are not there, as the map names them.
    pub missing: Vec<String>,
    /// The first header that is not unique.
    pub twice: Option<Twice>,
}

/// Matches the columns of `spec` with a row of headers; `None` when it is not its header.
///
/// Time, and everything a frame is made of, must be there; of channels one is enough.
/// Where the map names any column by header, at least one header must be found.
pub(crate) fn match_columns(spec: &SheetSpec, headers: &[String]) -> Option<Match> {
    let headers: Vec<String> = headers.iter().map(|header| plain(header)).collect();
    let mut finder = Finder {
        headers: &headers,
        n_by_header: 0,
        n_found: 0,
        missing: Vec::new(),
        twice: None,
    };
    let time = match (spec.time_kind, &spec.time_column) {
        (TimeKind::RowClock { .. }, _) => None,
        (_, Some(column)) => Some(finder.find(column)?),
        (_, None) => return None,
    };
    let content = match &spec.content {
        SheetContent::Channels(columns) => {
            let found: Vec<Option<usize>> =
                columns.iter().map(|column| finder.find(column)).collect();
            found.iter().flatten().next()?;
            Content::Channels(found)
        }
        SheetContent::Frames {
            bus,
            id,
            payload,
            length,
            extended,
            ..
        } => {
            let mut optional = |column: &Option<ColumnRef>| match column {
                None => Some(None),
                Some(column) => finder.find(column).map(Some),
            };
            let (bus, length, extended) = (optional(bus)?, optional(length)?, optional(extended)?);
            let id = finder.find(id)?;
            let payload = payload
                .iter()
                .map(|column| finder.find(column))
                .collect::<Option<Vec<usize>>>()?;
            Content::Frames {
                bus,
                id,
                payload,
                length,
                extended,
            }
        }
    };
    if finder.n_by_header == 0
        && references(spec).any(|column| matches!(column, ColumnRef::Header(_)))
    {
        return None;
    }
    Some(Match {
        n_by_header: finder.n_by_header,
        n_found: finder.n_found,
        missing: finder.missing,
        twice: finder.twice,
        columns: Columns {
            time,
            content,
            width: headers.len(),
        },
    })
}

/// Every column a map names for a sheet.
pub(crate) fn references(spec: &SheetSpec) -> impl Iterator<Item = &ColumnRef> {
    let is_timed = !matches!(spec.time_kind, TimeKind::RowClock { .. });
    let content: Vec<&ColumnRef> = match &spec.content {
        SheetContent::Channels(columns) => columns.iter().collect(),
        SheetContent::Frames {
            bus,
            id,
            payload,
            length,
            extended,
            ..
        } => {
            let optional = [bus, length, extended].into_iter().flatten();
            std::iter::once(id).chain(payload).chain(optional).collect()
        }
    };
    spec.time_column
        .iter()
        .filter(move |_| is_timed)
        .chain(content)
}

/// A column as the map names it.
pub(crate) fn words(column: &ColumnRef) -> String {
    match column {
        ColumnRef::Header(names) => {
            let quoted: Vec<String> = names.iter().map(|name| format!("`{name}`")).collect();
            quoted.join(" or ")
        }
        ColumnRef::Position(position) => format!("column {position}"),
    }
}

fn plain(header: &str) -> String {
    // Some loggers make the header look like a comment.
    header.trim_start_matches('#').trim().to_lowercase()
}

struct Finder<'a> {
    headers: &'a [String],
    n_by_header: usize,
    n_found: usize,
    missing: Vec<String>,
    twice: Option<Twice>,
}

impl Finder<'_> {
    fn find(&mut self, column: &ColumnRef) -> Option<usize> {
        let found = match column {
            ColumnRef::Position(position) => position
                .checked_sub(1)
                .filter(|&index| index < self.headers.len()),
            ColumnRef::Header(names) => names.iter().find_map(|name| self.by_header(name)),
        };
        match found {
            Some(_) => self.n_found += 1,
            None => self.missing.push(words(column)),
        }
        found
    }

    fn by_header(&mut self, name: &str) -> Option<usize> {
        let name = plain(name);
        let mut places = (0..self.headers.len()).filter(|&index| self.headers[index] == name);
        let first = places.next()?;
        if let (Some(second), None) = (places.next(), &self.twice) {
            self.twice = Some(Twice {
                header: name,
                first: first + 1,
                second: second + 1,
            });
        }
        self.n_by_header += 1;
        Some(first)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::channels;

    fn headers(line: &str) -> Vec<String> {
        line.split(',').map(str::to_owned).collect()
    }

    #[track_caller]
    fn check(wanted: &[&str], line: &str, expected: Option<(usize, Vec<Option<usize>>)>) {
        let spec = channels("t", wanted);
        let found = match_columns(&spec, &headers(line)).map(|found| match found.columns.content {
            Content::Channels(columns) => (found.columns.time.unwrap(), columns),
            Content::Frames { .. } => unreachable!("the sheet has channels"),
        });
        assert_eq!(found, expected, "{line}");
    }

    #[test]
    fn headers_are_compared_without_case_and_blanks() {
        check(
            &["A", "b|beta"],
            "T, a ,B",
            Some((0, vec![Some(1), Some(2)])),
        );
        check(&["a", "b|beta"], "Beta,x,t", Some((2, vec![None, Some(0)])));
        check(
            &["Öl", "b|beta"],
            "öL,BETA,t",
            Some((2, vec![Some(0), Some(1)])),
        );
        check(&["a", "b"], "t,b", Some((0, vec![None, Some(1)])));
        check(&["a"], "a,b", None);
        check(&["#2", "#9"], "t,a,b", Some((0, vec![Some(1), None])));
        check(&["a"], "# t,a", Some((0, vec![Some(1)])));
        check(&["a", "b"], "t,c", None);
    }

    #[test]
    fn a_header_that_stands_twice_is_reported_only_if_asked_for() {
        let spec = channels("t", &["a"]);
        let found = match_columns(&spec, &headers("t,a,b,A")).unwrap();
        assert_eq!(
            found.twice,
            Some(Twice {
                header: "a".to_owned(),
                first: 2,
                second: 4
            })
        );
        assert_eq!(
            match_columns(&spec, &headers("t,a,b,b")).unwrap().twice,
            None
        );
    }
}
