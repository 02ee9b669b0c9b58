//! What a surface is held to. Common practice, no source, unless noted.

/// 95 % of a guide lies this near an edge, edges.
pub(super) const GUIDE_DISTANCE: f64 = 0.15;
/// 95 % of a guide runs along its edges within this, deg.
pub(super) const GUIDE_ANGLE_DEG: f64 = 12.0;
/// A ring further off square to its limb than this leans, deg.
pub(super) const SLANT_DEG: f64 = 25.0;
/// Mirrored vertices coincide within this, edges: rounding, no more.
pub(super) const MIRROR_ERROR: f64 = 1e-4;
/// RMS distance against plain decimation to as many vertices.
pub(super) const YARDSTICK: f64 = 2.0;
/// 95th over 5th percentile of edge lengths.
pub(super) const EDGE_RATIO: f64 = 3.5;
/// Difference to the number of faces asked for, percent.
pub(super) const FACE_COUNT_PCT: f64 = 3.0;
/// A quad with a scaled Jacobian of this or less is squeezed.
pub(super) const JACOBIAN: f64 = 0.1;
/// A pin is met by a pole this near, edges.
pub(super) const PIN_DISTANCE: f64 = 0.5;
/// An area's density is as asked within this share.
pub(super) const AREA_SHARE: f64 = 0.2;
/// Quads this far from an area count as elsewhere, edges.
pub(super) const AREA_FADED: f64 = 6.0;
