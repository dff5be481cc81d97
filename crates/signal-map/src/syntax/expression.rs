//! Formulas: tokens to a tree that is spelled back in standard form.
//!
//! In: the tokens after the `=`. Out: an [`Expression`]. Names and units are not checked
//! here; `check::formulas` does that.

use super::lexer::Kind;
use super::slots::{Cursor, Fault, spelled, visible};
use crate::mistakes::{MistakeCode, Span};
use halfshaft_model::Unit;
use halfshaft_model::unit::UNITS;

/// How deep brackets may be nested.
const DEEPEST: usize = 32;
/// How many pieces a formula may have.
const LONGEST: usize = 400;

/// An operator between two parts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Operator {
    /// `+`
    Plus,
    /// `-`
    Minus,
    /// `*`
    Times,
    /// `/`
    Over,
    /// `<`
    Less,
    /// `<=`
    LessOrEqual,
    /// `>`
    Greater,
    /// `>=`
    GreaterOrEqual,
    /// `=`
    Equal,
}

const OPERATORS: &[(&str, Operator)] = &[
    ("+", Operator::Plus),
    ("-", Operator::Minus),
    ("*", Operator::Times),
    ("/", Operator::Over),
    ("<", Operator::Less),
    ("<=", Operator::LessOrEqual),
    (">", Operator::Greater),
    (">=", Operator::GreaterOrEqual),
    ("=", Operator::Equal),
];

impl Operator {
    /// As it is written.
    pub fn symbol(self) -> &'static str {
        OPERATORS
            .iter()
            .find(|(_, operator)| *operator == self)
            .map_or("", |(symbol, _)| symbol)
    }

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
    cursor.say(&reader.spelling);
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
            self.spelling.push_str(&format!(" {} ", operator.symbol()));
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
            return Err(Fault {
                span: cursor.here(),
                code: MistakeCode::FormulaDeep,
                message: format!(
                    "the formula is nested deeper than {DEEPEST} brackets or longer than {LONGEST} parts"
                ),
                suggestion: "work out a part of it as a channel of its own".to_owned(),
            });
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
        let wanted = "a number, a channel, a function or a bracket";
        let Some(token) = cursor.peek() else {
            return Err(cursor.wanted(wanted));
        };
        match token.kind {
            Kind::Number => self.number(cursor),
            Kind::Word => {
                cursor.skip(1);
                self.spelling.push_str(token.text);
                if !cursor.take("(") {
                    return Ok(Expression {
                        part: Part::Name(token.text.to_owned()),
                        span: token.span,
                    });
                }
                self.spelling.push('(');
                let mut inputs = vec![self.chain(cursor, 0)?];
                while cursor.take(",") {
                    self.spelling.push_str(", ");
                    inputs.push(self.chain(cursor, 0)?);
                }
                self.close(cursor)?;
                let span = from.to(cursor.behind());
                Ok(Expression {
                    part: Part::Call(token.text.to_owned(), inputs),
                    span,
                })
            }
            _ => Err(cursor.wanted(wanted)),
        }
    }

    fn close(&mut self, cursor: &mut Cursor) -> Result<(), Fault> {
        if !cursor.take(")") {
            return Err(cursor.wanted("`)`"));
        }
        self.spelling.push(')');
        Ok(())
    }

    fn number(&mut self, cursor: &mut Cursor) -> Result<Expression, Fault> {
        let wanted = "a number";
        let from = cursor.here();
        let token = cursor.peek().ok_or_else(|| cursor.wanted(wanted))?;
        let value: f64 = token.text.parse().map_err(|_| cursor.wanted(wanted))?;
        if !value.is_finite() {
            return Err(cursor.wanted("a smaller number"));
        }
        cursor.skip(1);
        self.spelling.push_str(token.text);
        // The longest run of touching tokens that is a unit: `10 km/h` is a speed, and
        // `10 m/own.x` ten metres over a channel.
        let mut spelling = String::new();
        let mut best: Option<(usize, &'static Unit)> = None;
        let mut n = 0;
        while let Some(next) = cursor.peek_at(n) {
            let touches = n == 0
                || cursor
                    .peek_at(n - 1)
                    .is_some_and(|before| before.touches(&next));
            if !touches || n == 4 || (n == 0 && next.kind != Kind::Word) {
                break;
            }
            spelling.push_str(next.text);
            n += 1;
            if let Some(unit) = Unit::find(&spelling) {
                best = Some((n, unit));
            }
        }
        let Some((n, unit)) = best else {
            if let Some(word) = cursor.peek().filter(|next| next.kind == Kind::Word) {
                return Err(Fault {
                    span: word.span,
                    code: MistakeCode::UnknownUnit,
                    message: format!("`{}` is not a unit this program knows", visible(word.text)),
                    suggestion: super::slots::did_you_mean(word.text, UNITS.iter().map(spelled)),
                });
            }
            return Ok(Expression {
                part: Part::Number(value, None),
                span: from,
            });
        };
        cursor.skip(n);
        self.spelling.push(' ');
        self.spelling.push_str(spelled(unit));
        Ok(Expression {
            part: Part::Number(value, Some(unit)),
            span: from.to(cursor.behind()),
        })
    }
}

fn ahead(cursor: &Cursor) -> Option<Operator> {
    let token = cursor.peek()?;
    OPERATORS
        .iter()
        .find(|(symbol, _)| *symbol == token.text)
        .map(|(_, operator)| *operator)
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
