//! Trims woven so that they pass through nothing: bands led over folds of the cloth, and, where nothing
//! goes, what would.

use base::Task;
use engine::check;

use super::findings::{MOST, thickness};
use super::relay::Form;
use super::weave::{Walls, Woven, unchecked};
use super::{Placed, Side, TrimError, TrimInput};

/// Tries at a lesser thickness where cloth would pass through something.
const TRIES: u32 = 8;
/// Rounds by which a band is led over folds that would cut it, each where those before don't do.
const EASES: [u32; 4] = [1, 3, 9, 27];

/// Weaves all trims.
pub(super) fn all(
    input: &TrimInput<'_>,
    trims: &[Placed],
    task: &Task,
) -> Result<Woven, TrimError> {
    let plain = vec![0; trims.len()];
    let woven = unchecked(input, trims, &plain, task)?;
    let first = cut_of(input, &woven)?;
    // Bands that folds of the cloth cut or bend out of thickness are led over them, as little as goes.
    let mut eased = plain.clone();
    let mut whole = None;
    let (mut laid, mut cut) = (woven.clone(), first);
    while laid.lies(trims) {
        let band = match cut {
            Some(pair) => laid.trim_of(pair[0].max(pair[1])),
            None => laid.uneven_band(trims),
        };
        if cut.is_none() && (band.is_none() || whole.is_none()) {
            whole = Some(laid);
        }
        let band = band.filter(|&n| trims[n].trim.side == Side::Upon);
        let more = |n: usize| EASES.into_iter().find(|&more| more > eased[n]);
        let Some((n, more)) = band.and_then(|n| Some((n, more(n)?))) else {
            break;
        };
        eased[n] = more;
        laid = unchecked(input, trims, &eased, task)?;
        cut = cut_of(input, &laid)?;
    }
    match (whole, first) {
        (Some(whole), _) => Ok(whole),
        (None, Some(pair)) => refused(input, trims, &woven, pair, [&plain, &eased], task),
        (None, None) => Ok(woven),
    }
}

/// A pair of quads that pass through each other, one of them a trim's, if there is one.
fn cut_of(input: &TrimInput<'_>, woven: &Woven) -> Result<Option<[u32; 2]>, TrimError> {
    let own = input.surface.quads.len() as u32;
    let mut pairs = check::crossings(&woven.mesh)?.into_iter();
    Ok(pairs.find(|pair| pair.iter().any(|&q| q >= own)))
}

/// Why trims can't be woven that pass through something at a pair of quads, with a lesser thickness that
/// goes, if one does with either easing of bands.
fn refused(
    input: &TrimInput<'_>,
    trims: &[Placed],
    woven: &Woven,
    pair: [u32; 2],
    eased: [&[u32]; 2],
    task: &Task,
) -> Result<Woven, TrimError> {
    let [one, two] = [pair[0].max(pair[1]), pair[0].min(pair[1])];
    let at = woven.mesh.centre(one as usize);
    let Some(guilty) = woven.trim_of(one) else {
        return Ok(woven.clone());
    };
    let what = match woven.trim_of(two) {
        None => "the surface".to_owned(),
        Some(other) if other == guilty => "itself".to_owned(),
        Some(other) => format!("trim '{}'", trims[other].trim.name),
    };
    let mut most = None;
    for k in (1..TRIES).rev() {
        let mut thinner = trims.to_vec();
        thinner[guilty].trim.thickness *= f64::from(k) / f64::from(TRIES);
        let goes = |eased: &[u32]| -> Result<bool, TrimError> {
            let laid = unchecked(input, &thinner, eased, task)?;
            Ok(laid.lies(&thinner) && cut_of(input, &laid)?.is_none())
        };
        if goes(eased[0])? || eased[0] != eased[1] && goes(eased[1])? {
            most = Some(thinner[guilty].trim.thickness);
            break;
        }
    }
    Err(TrimError::Crosses {
        trim: trims[guilty].trim.name.clone(),
        what,
        at: at.to_array(),
        most,
    })
}

impl Woven {
    /// Whether bands that were led over folds still lie on the cloth, nowhere further off it than they
    /// are high.
    fn lies(&self, trims: &[Placed]) -> bool {
        let forms = self.made.iter().zip(&self.laid);
        let mut bands = forms.filter_map(|((number, _), form)| match form {
            Form::Band(band) if band.eased > 0 => Some((trims[*number].trim.height, band)),
            _ => None,
        });
        bands.all(|(height, band)| band.off(&self.mesh.positions) <= height)
    }

    /// The first band that isn't as thick as asked on enough of its walls.
    fn uneven_band(&self, trims: &[Placed]) -> Option<usize> {
        let is_uneven = |((number, walls), form): &(&(usize, Walls), &Form)| {
            let asked = trims[*number].trim.thickness;
            matches!(form, Form::Band(_)) && thickness(&self.mesh, asked, walls, None).share < MOST
        };
        let found = self.made.iter().zip(&self.laid).find(is_uneven);
        found.map(|((number, _), _)| *number)
    }
}
