//! Formulas: tokens to a tree that is spelled back in standard form.
//!
//! In: the tokens after the `=`. Out: an [`Expression`]. Names and units are not checked
//! here; `check::formulas` does that.

use super::lexer::Kind;
use super::slots::{Cursor, did_you_mean, spelled, visible};
use crate::mistakes::{Fault, MistakeCode, Span};
use halfshaft_model::Unit;
use halfshaft_model::unit::UNITS;

/// How deep brackets may be nested.
const DEEPEST: usize = 32;
/// How many pieces a formula may have.
const LONGEST: usize = 400;

halfshaft_model::codes! { "An operator between two parts, as it is written." Operator {
    Plus "+" "The sum."
    Minus "-" "The difference."
    Times "*" "The product."
    Over "/" "The quotient."
    Less "<" "Whether the left is less."
    LessOrEqual "<=" "Whether the left is not greater."
    Greater ">" "Whether the left is greater."
    GreaterOrEqual ">=" "Whether the left is not less."
    Equal "=" "Whether both are equal."
} }

impl Operator {
    fn strength(self) -> u8 {
        match self {
            Operator::Times | Operator::Over => 3,
            Operator::Plus | Operator::Minus => 2,
            _ => 1,
        }
    }
}

/// A formula and its place.
#[derive(Clone, Debug, PartialEq)]
pub struct Expression {
    /// What it is.
    pub part: Part,
    /// Where.
    pub span: Span,
}

/// A part of a formula.
#[derive(Clone, Debug, PartialEq)]
pub enum Part {
    /// A number as written, with its unit.
    Number(f64, Option<&'static Unit>),
    /// A channel or a figure of the vehicle.
    Name(String),
    /// −a.
    Negative(Box<Expression>),
    /// a ∘ b.
    Pair(Operator, Box<Expression>, Box<Expression>),
    /// A function or a table with its inputs.
    Call(String, Vec<Expression>),
}

/// Reads a formula up to the end of the line and adds its standard form.
pub fn parse(cursor: &mut Cursor) -> Result<Expression, Fault> {
    let mut reader = Reader {
        spelling: String::new(),
        depth: 0,
        n_parts: 0,
    };
    let expression = reader.chain(cursor, 0)?;
    cursor.spell(&reader.spelling);
    Ok(expression)
}

struct Reader {
    spelling: String,
    depth: usize,
    n_parts: usize,
}

impl Reader {
    // Parts joined by operators at least as strong as `least`.
    fn chain(&mut self, cursor: &mut Cursor, least: u8) -> Result<Expression, Fault> {
        let mut left = self.single(cursor)?;
        while let Some(operator) =
            ahead(cursor).filter(|operator| operator.strength() >= least.max(1))
        {
            cursor.skip(1);
            self.spelling.push_str(&format!(" {} ", operator.word()));
            let right = self.chain(cursor, operator.strength() + 1)?;
            let span = left.span.to(right.span);
            left = Expression {
                part: Part::Pair(operator, Box::new(left), Box::new(right)),
                span,
            };
        }
        Ok(left)
    }

    fn single(&mut self, cursor: &mut Cursor) -> Result<Expression, Fault> {
        self.n_parts += 1;
        if self.depth > DEEPEST || self.n_parts > LONGEST {
            return Err(Fault::with(
                cursor.here(),
                MistakeCode::FormulaDeep,
                format!(
                    "the formula is nested deeper than {DEEPEST} brackets or longer than {LONGEST} parts"
                ),
                "work out a part of it as a channel of its own",
            ));
        }
        self.depth += 1;
        let result = self.bare(cursor);
        self.depth -= 1;
        result
    }

    fn bare(&mut self, cursor: &mut Cursor) -> Result<Expression, Fault> {
        let from = cursor.here();
        if cursor.take("-") {
            self.spelling.push('-');
            let inner = self.single(cursor)?;
            let span = from.to(inner.span);
            return Ok(Expression {
                part: Part::Negative(Box::new(inner)),
                span,
            });
        }
        if cursor.take("(") {
            self.spelling.push('(');
            let mut inner = self.chain(cursor, 0)?;
            self.close(cursor)?;
            inner.span = from.to(cursor.behind());
            return Ok(inner);
        }
        let part = match cursor.peek() {
            Some(token) if token.kind == Kind::Number => self.number(cursor)?,
            Some(token) if token.kind == Kind::Word => {
                cursor.skip(1);
                self.spelling.push_str(token.text);
                self.name_or_call(cursor, token.text)?
            }
            _ => return Err(cursor.expected("a number, a channel, a function or a bracket")),
        };
        Ok(Expression {
            part,
            span: from.to(cursor.behind()),
        })
    }

    fn name_or_call(&mut self, cursor: &mut Cursor, name: &str) -> Result<Part, Fault> {
        if !cursor.take("(") {
            return Ok(Part::Name(name.to_owned()));
        }
        self.spelling.push('(');
        let mut inputs = vec![self.chain(cursor, 0)?];
        while cursor.take(",") {
            self.spelling.push_str(", ");
            inputs.push(self.chain(cursor, 0)?);
        }
        self.close(cursor)?;
        Ok(Part::Call(name.to_owned(), inputs))
    }

    fn close(&mut self, cursor: &mut Cursor) -> Result<(), Fault> {
        if !cursor.take(")") {
            return Err(cursor.expected("`)`"));
        }
        self.spelling.push(')');
        Ok(())
    }

    fn number(&mut self, cursor: &mut Cursor) -> Result<Part, Fault> {
        let value = cursor
            .peek()
            .and_then(|token| Some((token.text, token.text.parse().ok()?)));
        let (text, value): (&str, f64) = value.ok_or_else(|| cursor.expected("a number"))?;
        if !value.is_finite() {
            return Err(cursor.expected("a smaller number"));
        }
        cursor.skip(1);
        self.spelling.push_str(text);
        if let Some((n, unit)) = longest_unit(cursor) {
            cursor.skip(n);
            self.spelling.push(' ');
            self.spelling.push_str(spelled(unit));
            return Ok(Part::Number(value, Some(unit)));
        }
        match cursor.peek().filter(|next| next.kind == Kind::Word) {
            None => Ok(Part::Number(value, None)),
            Some(word) => Err(Fault::with(
                word.span,
                MistakeCode::UnknownUnit,
                format!("`{}` is not a unit this program knows", visible(word.text)),
                did_you_mean(word.text, UNITS.iter().map(spelled)),
            )),
        }
    }
}

/// The longest run of touching tokens that is a unit, and how many they are: `10 km/h` is a
/// speed, and `10 m/own.x` ten metres over a channel.
fn longest_unit(cursor: &Cursor) -> Option<(usize, &'static Unit)> {
    let mut spelling = String::new();
    let mut longest = None;
    let mut before = None;
    for n in 0..4 {
        let Some(next) = cursor.peek_at(n) else { break };
        let goes_on = match before.replace(next) {
            None => next.kind == Kind::Word,
            Some(before) => before.touches(&next),
        };
        if !goes_on {
            break;
        }
        spelling.push_str(next.text);
        longest = Unit::find(&spelling).map(|unit| (n + 1, unit)).or(longest);
    }
    longest
}

fn ahead(cursor: &Cursor) -> Option<Operator> {
    let token = cursor.peek()?;
    let mut all = Operator::ALL.iter().copied();
    all.find(|operator| operator.word() == token.text)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::syntax::lexer;

    fn read(line: &str) -> Result<(Expression, String), Fault> {
        let (tokens, _) = lexer::tokens(line, 0);
        let mut cursor = Cursor::new(&tokens);
        let expression = parse(&mut cursor)?;
        Ok((expression, cursor.standard))
    }

    #[track_caller]
    fn check(line: &str, standard: &str) {
        let (_, spelled) = read(line).unwrap_or_else(|fault| panic!("{line}: {}", fault.message));
        assert_eq!(spelled, standard);
        assert_eq!(read(&spelled).unwrap().1, standard);
    }

    #[test]
    fn formulas_are_spelled_in_standard_form() {
        check("a+b *c", "a + b * c");
        check("a - -b", "a - -b");
        check("(a+b)/ 2", "(a + b) / 2");
        check("max(a,b ,10kph)", "max(a, b, 10 km/h)");
        check("10 m/own.x", "10 m / own.x");
        check("if(a>=5 %,1,0)", "if(a >= 5 %, 1, 0)");
    }

    #[test]
    fn stronger_operators_bind_first_and_equals_from_the_left() {
        let (sum, _) = read("a - b - c * d").unwrap();
        let Part::Pair(Operator::Minus, left, right) = sum.part else {
            panic!("a difference")
        };
        assert!(matches!(left.part, Part::Pair(Operator::Minus, _, _)));
        assert!(matches!(right.part, Part::Pair(Operator::Times, _, _)));
    }

    #[test]
    fn deep_and_broken_formulas_are_faults() {
        for line in ["", "a +", "(a", "f(a,", "1 furlong", ")"] {
            assert!(read(line).is_err(), "{line}");
        }
        assert_eq!(
            read(&"(".repeat(5000)).unwrap_err().code,
            MistakeCode::FormulaDeep
        );
        assert_eq!(
            read(&"-".repeat(5000)).unwrap_err().code,
            MistakeCode::FormulaDeep
        );
    }
}
