//! Sheets: how to read them, and what their columns are.

use super::Check;
use crate::map::{Sheet, SheetColumn};
use crate::mistakes::MistakeCode::{DoubleSource, RangeEmpty, Twice, WrongForm, WrongPlace};
use crate::syntax::forms::FormName;
use crate::syntax::slots::{Slot, visible};
use crate::syntax::tree::Fact;
use halfshaft_model::sheet::{Base, ColumnRef, SheetContent, SheetSpec, TimeKind};

impl<'t> Check<'t> {
    pub(super) fn sheets(&mut self) {
        for fact in self.top(FormName::Sheet) {
            let [Slot::Text(name, span)] = fact.slots.as_slice() else {
                continue;
            };
            if self.map.sheets.iter().any(|sheet| sheet.spec.name == *name) {
                let name = visible(name);
                let message = format!("a sheet of the name \"{name}\" is described twice");
                self.mistake(*span, Twice, message);
            }
            self.sheet(fact, name);
        }
    }

    fn sheet(&mut self, fact: &'t Fact, name: &str) {
        let (time_column, time_kind, period_s) = self.time(fact);
        let mut columns = Vec::new();
        let content = if fact.states(FormName::RowsAreFrames) {
            for under in fact.all(FormName::Column) {
                let message = "the rows of this sheet are frames, so its columns are no channels";
                let suggestion = "describe its signals under `frame`";
                self.mistake_with(under.span, WrongPlace, message, suggestion);
            }
            self.frames_of_rows(fact)
        } else {
            for under in fact
                .facts
                .iter()
                .filter(|under| is_of_frame_rows(under.form))
            {
                let message = "this is said of sheets whose rows are frames";
                let suggestion = "write `rows are frames` above it";
                self.mistake_with(under.span, WrongPlace, message, suggestion);
            }
            let sheet = self.map.sheets.len();
            let found = fact.all(FormName::Column);
            let found = found.filter_map(|under| self.column(under, sheet, period_s));
            let (refs, found): (Vec<_>, Vec<_>) = found.unzip();
            columns = found;
            if refs.is_empty() {
                self.missing(
                    fact,
                    "the sheet gives no channel",
                    "write lines such as `wheel.rear.left in \"header\"`, or `rows are frames`",
                );
            }
            Some(SheetContent::Channels(refs))
        };
        let Some(content) = content else { return };
        let has_header = !fact.states(FormName::NoHeader);
        if !has_header {
            self.no_headers_without_a_header(fact);
        }
        let spec = SheetSpec {
            name: name.to_owned(),
            delimiter: match fact.slots_of(FormName::Parted) {
                Some([Slot::Delimiter(delimiter, _)]) => Some(*delimiter),
                _ => None,
            },
            decimal_mark: self.decimal_mark(fact),
            time_column,
            time_kind,
            unit_row: fact.states(FormName::UnitRow),
            has_header,
            comment: texts(fact, FormName::NotesBegin).next(),
            missing_marks: texts(fact, FormName::MissingIs).collect(),
            content,
        };
        if spec.delimiter.is_some() && spec.delimiter == spec.decimal_mark {
            let message = "one character cannot part columns and be the decimal mark";
            self.mistake(fact.head, RangeEmpty, message);
        }
        self.map.sheets.push(Sheet { spec, columns });
    }

    fn time(&mut self, fact: &'t Fact) -> (Option<ColumnRef>, TimeKind, Option<f64>) {
        if let Some([Slot::Column(column, _), Slot::TimeKind(kind, _)]) =
            fact.slots_of(FormName::TimeIn)
        {
            return (Some(column.clone()), *kind, None);
        }
        let period = match fact.find(FormName::RowEvery) {
            Some(row_every) => self.figure(row_every).map(|period| period.value),
            None => {
                self.missing(
                    fact,
                    "the sheet does not say when its rows were taken",
                    "write `time in \"header\" as s`, or `row every 10 ms`",
                );
                None
            }
        };
        let period_s = period.unwrap_or(1.0);
        (None, TimeKind::RowClock { period_s }, period)
    }

    fn decimal_mark(&mut self, fact: &'t Fact) -> Option<char> {
        let Some([Slot::Text(text, span)]) = fact.slots_of(FormName::DecimalMark) else {
            return None;
        };
        match text.as_str() {
            "." => Some('.'),
            "," => Some(','),
            _ => {
                self.mistake(*span, WrongForm, "the decimal mark is \".\" or \",\"");
                None
            }
        }
    }

    fn no_headers_without_a_header(&mut self, fact: &'t Fact) {
        for slot in fact.facts.iter().flat_map(|under| &under.slots) {
            let (columns, span) = match slot {
                Slot::Column(column, span) => (std::slice::from_ref(column), *span),
                Slot::Columns(columns, span) => (columns.as_slice(), *span),
                _ => continue,
            };
            if columns
                .iter()
                .any(|column| matches!(column, ColumnRef::Header(_)))
            {
                let message = "a sheet without a header has no column of that name";
                self.mistake_with(
                    span,
                    WrongForm,
                    message,
                    "write `column 1`, the first being 1",
                );
            }
        }
    }

    fn frames_of_rows(&mut self, fact: &'t Fact) -> Option<SheetContent> {
        let column = |form| match fact.slots_of(form) {
            Some([Slot::Column(column, _), ..]) => Some(column.clone()),
            _ => None,
        };
        let id_base = match fact.slots_of(FormName::IdIn) {
            Some([_, Slot::Base(base)]) => Some(*base),
            _ => None,
        };
        let mut payload: Vec<ColumnRef> = Vec::new();
        let mut payload_base: Option<Base> = None;
        for under in fact.all(FormName::BytesIn) {
            let [Slot::Columns(columns, span), Slot::Base(base)] = under.slots.as_slice() else {
                continue;
            };
            if payload_base
                .replace(*base)
                .is_some_and(|before| before != *base)
            {
                let message = "all bytes of a row are written in one number base";
                self.mistake(under.span, Twice, message);
            }
            payload.extend(columns.iter().cloned());
            if payload.len() > 64 {
                self.mistake(*span, RangeEmpty, "a frame has at most 64 bytes");
                return None;
            }
        }
        let id = column(FormName::IdIn).zip(id_base);
        let Some(((id, id_base), payload_base)) = id.zip(payload_base) else {
            self.missing(
                fact,
                "a sheet of frames states where identifier and bytes stand",
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
            self.keep_coarsest_step(channel, scale.is_step.then_some(scale.per_step.abs()));
        }
        if self.sources[channel].sheets.contains(&sheet) {
            let message = format!("`{name}` already comes from another column of this sheet");
            self.mistake(*name_span, DoubleSource, message);
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
    fact.all(form)
        .filter_map(|under| match under.slots.as_slice() {
            [Slot::Text(text, _)] => Some(text.clone()),
            _ => None,
        })
}

fn is_of_frame_rows(form: FormName) -> bool {
    use FormName as F;
    matches!(
        form,
        F::BusIn | F::IdIn | F::BytesIn | F::LengthIn | F::ExtendedIn
    )
}
