//! Sheets: how to read them, and what their columns are.

use super::Check;
use crate::map::{Sheet, SheetColumn};
use crate::mistakes::MistakeCode;
use crate::syntax::forms::FormName;
use crate::syntax::slots::{Slot, visible};
use crate::syntax::tree::Fact;
use halfshaft_model::Dimension;
use halfshaft_model::sheet::{Base, ColumnRef, SheetContent, SheetSpec, TimeKind};

impl<'t> Check<'t> {
    pub(super) fn sheets(&mut self) {
        for fact in self.top(FormName::Sheet) {
            let [Slot::Text(name, span)] = fact.slots.as_slice() else {
                continue;
            };
            if self.map.sheets.iter().any(|sheet| sheet.spec.name == *name) {
                self.gathered.mistake(
                    *span,
                    MistakeCode::Twice,
                    format!(
                        "a sheet of the name \"{}\" is described twice",
                        visible(name)
                    ),
                );
            }
            self.sheet(fact, name);
        }
    }

    fn sheet(&mut self, fact: &'t Fact, name: &str) {
        let index = self.map.sheets.len();
        let is_of_frames = fact.find(FormName::RowsAreFrames).is_some();
        let (time_column, time_kind, period_s) = self.time(fact);
        let mut columns = Vec::new();
        let content = if is_of_frames {
            for under in fact
                .facts
                .iter()
                .filter(|under| under.form == FormName::Column)
            {
                let message = "the rows of this sheet are frames, so its columns are no channels";
                self.gathered.mistake_with(
                    under.span,
                    MistakeCode::WrongPlace,
                    message,
                    "describe its signals under `frame`",
                );
            }
            self.frames_of_rows(fact)
        } else {
            for under in fact
                .facts
                .iter()
                .filter(|under| is_of_frame_rows(under.form))
            {
                let message = "this is said of sheets whose rows are frames";
                self.gathered.mistake_with(
                    under.span,
                    MistakeCode::WrongPlace,
                    message,
                    "write `rows are frames` above it",
                );
            }
            let mut refs = Vec::new();
            for under in fact
                .facts
                .iter()
                .filter(|under| under.form == FormName::Column)
            {
                if let Some((place, column)) = self.column(under, index, period_s) {
                    refs.push(place);
                    columns.push(column);
                }
            }
            if refs.is_empty() {
                self.missing(
                    fact,
                    "the sheet gives no channel".to_owned(),
                    "write lines such as `wheel.rear.left in \"header\"`, or `rows are frames`",
                );
            }
            Some(SheetContent::Channels(refs))
        };
        let Some(content) = content else { return };
        let has_header = fact.find(FormName::NoHeader).is_none();
        if !has_header {
            self.no_headers_without_a_header(fact);
        }
        let spec = SheetSpec {
            name: name.to_owned(),
            delimiter: fact
                .slots_of(FormName::Parted)
                .and_then(|slots| match slots {
                    [Slot::Delimiter(delimiter, _)] => Some(*delimiter),
                    _ => None,
                }),
            decimal_mark: self.decimal_mark(fact),
            time_column,
            time_kind,
            unit_row: fact.find(FormName::UnitRow).is_some(),
            has_header,
            comment: texts(fact, FormName::NotesBegin).next(),
            missing_marks: texts(fact, FormName::MissingIs).collect(),
            content,
        };
        if spec.delimiter.is_some() && spec.delimiter == spec.decimal_mark {
            self.gathered.mistake(
                fact.head,
                MistakeCode::RangeEmpty,
                "one character cannot part columns and be the decimal mark",
            );
        }
        self.map.sheets.push(Sheet { spec, columns });
    }

    fn time(&mut self, fact: &'t Fact) -> (Option<ColumnRef>, TimeKind, Option<f64>) {
        let row_clock = TimeKind::RowClock { period_s: 1.0 };
        if let Some([Slot::Column(column, _), Slot::TimeKind(kind, _)]) =
            fact.slots_of(FormName::TimeIn)
        {
            return (Some(column.clone()), *kind, None);
        }
        if let Some([Slot::Quantity(quantity)]) = fact.slots_of(FormName::RowEvery) {
            let period = self.positive(*quantity, Dimension::TIME, "the time from row to row");
            return (
                None,
                period.map_or(row_clock, |period_s| TimeKind::RowClock { period_s }),
                period,
            );
        }
        self.missing(
            fact,
            "the sheet does not say when its rows were taken".to_owned(),
            "write `time in \"header\" as s`, or `row every 10 ms`",
        );
        (None, row_clock, None)
    }

    fn decimal_mark(&mut self, fact: &'t Fact) -> Option<char> {
        let Some([Slot::Text(text, span)]) = fact.slots_of(FormName::DecimalMark) else {
            return None;
        };
        match text.as_str() {
            "." => Some('.'),
            "," => Some(','),
            _ => {
                self.gathered.mistake(
                    *span,
                    MistakeCode::WrongForm,
                    "the decimal mark is \".\" or \",\"",
                );
                None
            }
        }
    }

    fn no_headers_without_a_header(&mut self, fact: &'t Fact) {
        for under in &fact.facts {
            for slot in &under.slots {
                let by_header = match slot {
                    Slot::Column(ColumnRef::Header(_), span) => Some(*span),
                    Slot::Columns(columns, span)
                        if columns
                            .iter()
                            .any(|column| matches!(column, ColumnRef::Header(_))) =>
                    {
                        Some(*span)
                    }
                    _ => None,
                };
                if let Some(span) = by_header {
                    self.gathered.mistake_with(
                        span,
                        MistakeCode::WrongForm,
                        "a sheet without a header has no column of that name",
                        "write `column 1`, the first being 1",
                    );
                }
            }
        }
    }

    fn frames_of_rows(&mut self, fact: &'t Fact) -> Option<SheetContent> {
        let column = |form| match fact.slots_of(form) {
            Some([Slot::Column(column, _), ..]) => Some(column.clone()),
            _ => None,
        };
        let id = match fact.slots_of(FormName::IdIn) {
            Some([Slot::Column(column, _), Slot::Base(base)]) => Some((column.clone(), *base)),
            _ => None,
        };
        let mut payload: Vec<ColumnRef> = Vec::new();
        let mut payload_base: Option<Base> = None;
        for under in fact
            .facts
            .iter()
            .filter(|under| under.form == FormName::BytesIn)
        {
            let [Slot::Columns(columns, span), Slot::Base(base)] = under.slots.as_slice() else {
                continue;
            };
            if payload_base
                .replace(*base)
                .is_some_and(|before| before != *base)
            {
                self.gathered.mistake(
                    under.span,
                    MistakeCode::Twice,
                    "all bytes of a row are written in one number base",
                );
            }
            payload.extend(columns.iter().cloned());
            if payload.len() > 64 {
                self.gathered.mistake(
                    *span,
                    MistakeCode::RangeEmpty,
                    "a frame has at most 64 bytes",
                );
                return None;
            }
        }
        let (Some((id, id_base)), Some(payload_base)) = (id, payload_base) else {
            self.missing(
                fact,
                "a sheet of frames states where identifier and bytes stand".to_owned(),
                "write `id in \"header\" as hexadecimal` and `bytes in \"header\" as hexadecimal`",
            );
            return None;
        };
        Some(SheetContent::Frames {
            bus: column(FormName::BusIn),
            id,
            id_base,
            payload,
            payload_base,
            length: column(FormName::LengthIn),
            extended: column(FormName::ExtendedIn),
        })
    }

    fn column(
        &mut self,
        fact: &'t Fact,
        sheet: usize,
        period_s: Option<f64>,
    ) -> Option<(ColumnRef, SheetColumn)> {
        let [Slot::Name(name, name_span), Slot::Column(place, _)] = fact.slots.as_slice() else {
            return None;
        };
        let channel = self.channel(name, *name_span, fact.line)?;
        let (facts, is_damaged) = self.effective(fact);
        let scale = self.scale(channel, fact, &facts, is_damaged);
        let believe = self.believe(channel, &facts);
        let rate_under = self.rate_under(channel, &facts);
        if let Some(scale) = &scale {
            self.channel_facts(channel, &facts);
            self.note_step(channel, scale.is_step.then_some(scale.per_step.abs()));
        }
        if self.sources[channel].sheets.contains(&sheet) {
            let message = format!("`{name}` already comes from another column of this sheet");
            self.gathered
                .mistake(*name_span, MistakeCode::DoubleSource, message);
        }
        if self.is_new(channel) {
            self.map.channels[channel].period_s = period_s;
        }
        self.sources[channel].sheets.push(sheet);
        let scale = scale?;
        let column = SheetColumn {
            channel,
            si_per_unit: scale.per_step,
            si_at_zero: scale.at_zero,
            believe,
            rate_under,
        };
        Some((place.clone(), column))
    }
}

fn texts(fact: &Fact, form: FormName) -> impl Iterator<Item = String> + '_ {
    fact.facts
        .iter()
        .filter(move |under| under.form == form)
        .filter_map(|under| match under.slots.as_slice() {
            [Slot::Text(text, _)] => Some(text.clone()),
            _ => None,
        })
}

fn is_of_frame_rows(form: FormName) -> bool {
    matches!(
        form,
        FormName::BusIn
            | FormName::IdIn
            | FormName::BytesIn
            | FormName::LengthIn
            | FormName::ExtendedIn
    )
}
