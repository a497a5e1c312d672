//! What measuring one frame gives.

use serde::{Deserialize, Serialize};

use crate::base::Spin2;
use crate::frame::Light;

/// What was special about a star; stars with any flag but `blended` are out of shapes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[expect(
    clippy::struct_excessive_bools,
    reason = "independent remarks about one star"
)]
pub struct StarFlags {
    /// Its core is clipped: counted, not used for shapes.
    pub clipped: bool,
    /// It touches the frame's edge.
    pub at_edge: bool,
    /// Another star lies within its window.
    pub blended: bool,
    /// Its moments did not settle, or it shows two peaks: no trail can be read of it.
    pub unsettled: bool,
}

/// One star.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Star {
    /// Centroid, px from the centre of the first pixel, x right.
    pub x_px: f32,
    /// Centroid, y down.
    pub y_px: f32,
    /// Flux above the sky in units of (full scale · px).
    pub flux: f32,
    /// Highest sample above the sky, fraction of full scale.
    pub peak: f32,
    /// Flux over its matched-filter error.
    pub snr: f32,
    /// Width across the trail (FWHM of the narrow axis) as sampled, px.
    pub fwhm_px: f32,
    /// Long axis over short, ≥ 1.
    pub elongation: f32,
    /// Motion during the exposure as (L² cos 2θ, L² sin 2θ), px².
    pub trail: Spin2,
    /// Remarks.
    pub flags: StarFlags,
    /// What its numbers do not know.
    pub errors: StarErrors,
}

/// Standard errors of one star, from the noise of the sky and of its own light. What the star's
/// shape is not (two stars in one, a lens that smears) is only in them where `misfit` tells it.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct StarErrors {
    /// Of the place along either axis, px: a mean over both.
    pub place_px: f32,
    /// Of the flux, full scale · px.
    pub flux: f32,
    /// Of the trail's length, px; for a trail that is not clear of its error, the length that noise
    /// alone makes.
    pub length_px: f32,
    /// Of its angle, degrees, at most 90.
    pub angle_deg: f32,
    /// Of the width, px.
    pub fwhm_px: f32,
    /// What the profile fit of a long trail leaves, in units of the noise: 1 is noise alone, over
    /// 1.5 it is no even trail of one star. 0 where moments were read and no profile fitted.
    pub misfit: f32,
}

/// Trails and widths in one cell of the field map.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FieldCell {
    /// Clipped mean of the trails of its stars.
    pub trail: Spin2,
    /// Standard error of each component of `trail`, px².
    pub trail_error: f64,
    /// Median width across the trail, px.
    pub fwhm_px: f64,
    /// How many stars went in.
    pub stars: u32,
}

/// Trails over the frame: `cols` × `rows` equal cells, row order, `None` where too few stars.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct FieldMap {
    /// Cells across.
    pub cols: usize,
    /// Cells down.
    pub rows: usize,
    /// `cols * rows` cells.
    pub cells: Vec<Option<FieldCell>>,
}

/// The frame's trail values, all from the field map.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct TrailValues {
    /// Median over the stars used of the map's trail at each star, px.
    pub length_px: f64,
    /// Standard error of `length_px`.
    pub length_error_px: f64,
    /// At the frame's centre, px.
    pub centre_px: f64,
    /// Standard error of `centre_px`.
    pub centre_error_px: f64,
    /// Largest over the sky, px.
    pub max_px: f64,
    /// At the frame's centre in sensor coordinates, anticlockwise from image right, [0, 180).
    /// `None` where the trail there is too short to have a direction.
    pub angle_deg: Option<f64>,
    /// Standard error of `angle_deg`.
    pub angle_error_deg: Option<f64>,
}

/// What drew a frame's trails, as far as one frame can tell.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TrailCause {
    /// Nothing: stars are round.
    Still,
    /// One motion, the same everywhere: a mount, wind, a knock; or the sky through a long lens.
    Uniform,
    /// Blur that grows from the frame's centre, along the radius or across it: the lens.
    Lens,
    /// The camera turning against the sky.
    Turning,
    /// That and the lens.
    TurningAndLens,
}

impl TrailCause {
    /// As files name it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Still => "still",
            Self::Uniform => "uniform",
            Self::Lens => "lens",
            Self::Turning => "turning",
            Self::TurningAndLens => "turning-and-lens",
        }
    }
}

/// Trails and widths of a frame by each explanation.
///
/// A misfit is the rms of what the explanation leaves of the stars' vectors, over what they scatter
/// by themselves: 1 says all there is.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FieldModels {
    /// The simplest explanation that none beats clearly.
    pub best: TrailCause,
    /// Misfit of no trail at all.
    pub still: f64,
    /// Misfit of one motion everywhere.
    pub uniform: f64,
    /// Misfit of blur growing from the centre.
    pub lens: f64,
    /// Misfit of a turning camera.
    pub turning: f64,
    /// Misfit of a turning camera and blur growing from the centre.
    pub turning_and_lens: f64,
    /// The one motion everywhere.
    pub uniform_trail: Spin2,
    /// The pole of the turning, px; it may be far outside the frame. `None` when the camera does not
    /// roll.
    pub pole_px: Option<(f64, f64)>,
    /// L² that blur adds at the corners beyond the turning, px²: radial above 0, tangential below.
    /// A roll about the very centre is the same as tangential blur.
    pub lens_growth_px2: f64,
    /// Standard error of `lens_growth_px2`.
    pub lens_growth_error_px2: f64,
    /// Widths across the trail.
    pub width: WidthPlane,
}

/// Star widths over the frame: a plane, which a tilted sensor makes, and a bowl.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct WidthPlane {
    /// FWHM at the frame's centre, px.
    pub centre_px: f64,
    /// Change of FWHM from the left edge to the right, px.
    pub right_px: f64,
    /// Standard error of `right_px`.
    pub right_error_px: f64,
    /// Change of FWHM from the top edge to the bottom, px.
    pub down_px: f64,
    /// Standard error of `down_px`.
    pub down_error_px: f64,
    /// Change from the centre to the corners, the plane apart, px.
    pub corner_px: f64,
    /// Standard error of `corner_px`.
    pub corner_error_px: f64,
    /// Spread about one width everywhere, over that about plane and bowl, ≥ about 1.
    pub flat_misfit: f64,
}

/// The sky of one frame, percent of full scale above black, linear light.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SkyValues {
    /// Median over sky pixels.
    pub level_pct: f64,
    /// Brightest minus darkest tenth.
    pub gradient_pct: f64,
    /// Median over the central tenth of the frame's area.
    pub centre_pct: f64,
    /// Which way the sky brightens, in sensor coordinates, anticlockwise from image right, [0, 360).
    /// `None` where it brightens no one way: even, or brighter in the middle or at both sides.
    pub brightens_deg: Option<f64>,
    /// Median red over sky pixels, percent of full scale, as the sensor or the saved file has it.
    pub red_pct: Option<f64>,
    /// Median blue.
    pub blue_pct: Option<f64>,
    /// What colour is added where the sky is brightest.
    pub glow: Option<Glow>,
    /// Cells across in `cells_pct`.
    pub cols: usize,
    /// Cells down.
    pub rows: usize,
    /// Sky level by cell, row order; NaN-free, masked cells filled from their neighbours.
    pub cells_pct: Vec<f32>,
}

/// Level and share of sky in equal cells over the frame, ground and all: what is sky for sure, many
/// frames tell.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Levels {
    /// Cells across.
    pub cols: usize,
    /// Cells down.
    pub rows: usize,
    /// Mean level with stars out, percent of full scale above black; `cols * rows` cells, row order,
    /// or none where nothing was measured.
    pub level_pct: Vec<f32>,
    /// Share of the cell that this frame alone takes for sky, percent.
    pub sky_pct: Vec<u8>,
}

/// The colour of what is added from the darkest to the brightest tenth of the sky. Each number is a
/// ratio to the colour of the darkest tenth, so that neither filters nor white balance matter: 1 is
/// more of the same.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Glow {
    /// Red over green of what is added, against the same of the darkest tenth.
    pub red: f64,
    /// Blue over green.
    pub blue: f64,
}

/// A long line that is not a star.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Streak {
    /// One end, px.
    pub x0_px: f32,
    /// One end, px.
    pub y0_px: f32,
    /// Other end, px.
    pub x1_px: f32,
    /// Other end, px.
    pub y1_px: f32,
    /// Width, px.
    pub width_px: f32,
    /// Mean level along it above the sky, fraction of full scale.
    pub brightness: f32,
    /// The same in [`Streak::PARTS`] equal parts, from the first end to the other.
    pub parts: [f32; Streak::PARTS],
    /// Distance between flashes that follow each other evenly, px; 0 where there are none.
    pub beat_px: f32,
}

impl Streak {
    /// Parts that a streak's light is told in.
    pub const PARTS: usize = 16;

    /// Distance between its ends, px.
    #[must_use]
    pub fn length_px(&self) -> f64 {
        f64::from(self.x1_px - self.x0_px).hypot(f64::from(self.y1_px - self.y0_px))
    }
}

/// Most stars show two peaks, a fixed distance apart: the camera moved during the exposure and
/// stood still before and after.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DoublePeak {
    /// From one peak to the other, px, x right. Which came first a frame cannot say, so the sign is
    /// chosen: `dx_px` ≥ 0.
    pub dx_px: f64,
    /// The same, y down.
    pub dy_px: f64,
    /// Share of the frame's stars that show both peaks, 0 to 1; what chance adds is taken off.
    pub share: f64,
}

impl DoublePeak {
    /// Distance between the peaks, px.
    #[must_use]
    pub fn length_px(&self) -> f64 {
        self.dx_px.hypot(self.dy_px)
    }
}

/// How the stars ran during the exposure, the sky's own turning apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PathKind {
    /// Evenly, as far as can be told.
    Even,
    /// Twice at rest with a move between: a knock. [`FrameMeasure::double_peak`] has the move.
    TwoStop,
    /// To and fro across the trail, all stars alike: wind, or a head that is loose.
    Wavy,
}

impl PathKind {
    /// As files name it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Even => "even",
            Self::TwoStop => "two-stop",
            Self::Wavy => "wavy",
        }
    }
}

/// The path common to a frame's stars.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Path {
    /// What it is.
    pub kind: PathKind,
    /// How far it leaves the even path, px: rms over the exposure of the motion across the trails,
    /// noise not taken off; for two stops the distance between them.
    pub shake_px: f64,
    /// How clear of chance that is, in standard errors; 0 for two stops.
    pub sigma: f64,
    /// Stars that show it.
    pub stars: u32,
}

/// Everything measured in one frame. `None` is "could not be measured"; nothing here is NaN.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FrameMeasure {
    /// Frame width, px.
    pub width_px: usize,
    /// Frame height, px.
    pub height_px: usize,
    /// Whether levels are proportional to light.
    pub light: Light,
    /// Stars above 5 σ, hot pixels and streaks out.
    pub star_count: u32,
    /// Median width across the trail of the stars used, px.
    pub fwhm_px: Option<f64>,
    /// Standard error of `fwhm_px`.
    pub fwhm_error_px: Option<f64>,
    /// Median long axis over short of the stars used.
    pub elongation: Option<f64>,
    /// Trails, when enough stars carry a shape.
    pub trail: Option<TrailValues>,
    /// When most stars show two peaks; `None` in every frame whose camera stood still or moved
    /// evenly. With it, trail, field and elongation are not read, a pair counts as one star in
    /// `star_count`, and `stars` holds the pairs, each as one star.
    pub double_peak: Option<DoublePeak>,
    /// How stars ran during the exposure: two stops, or, where trails are long enough for a profile,
    /// even or wavy. `None` where too few stars tell.
    pub path: Option<Path>,
    /// Field map of trails and widths.
    pub field: FieldMap,
    /// What explains trails and widths over the frame, when enough stars carry a shape.
    pub models: Option<FieldModels>,
    /// Sky values; for every decoded frame.
    pub sky: SkyValues,
    /// Levels over the frame, ground and all.
    pub levels: Levels,
    /// Robust σ of one green sample of sky, percent of full scale.
    pub noise_pct: Option<f64>,
    /// Share of samples at or above the clip level, percent.
    pub saturated_pct: f64,
    /// Hot pixels left out.
    pub hot_pixels: u32,
    /// Long lines that are no stars.
    pub streaks: Vec<Streak>,
    /// Up to 400 of the best stars for the night's fits and the window's overlay, brightest first.
    pub stars: Vec<Star>,
    /// How many stars carried a shape.
    pub stars_used: u32,
    /// Why something is missing, a sentence each.
    pub remarks: Vec<String>,
}

impl FrameMeasure {
    /// A measure in which nothing could be measured: sky 0, no stars.
    #[must_use]
    pub fn empty(width_px: usize, height_px: usize, light: Light) -> Self {
        Self {
            width_px,
            height_px,
            light,
            star_count: 0,
            fwhm_px: None,
            fwhm_error_px: None,
            elongation: None,
            trail: None,
            double_peak: None,
            path: None,
            field: FieldMap::default(),
            models: None,
            sky: SkyValues {
                level_pct: 0.0,
                gradient_pct: 0.0,
                centre_pct: 0.0,
                brightens_deg: None,
                red_pct: None,
                blue_pct: None,
                glow: None,
                cols: 0,
                rows: 0,
                cells_pct: Vec::new(),
            },
            levels: Levels::default(),
            noise_pct: None,
            saturated_pct: 0.0,
            hot_pixels: 0,
            streaks: Vec::new(),
            stars: Vec::new(),
            stars_used: 0,
            remarks: Vec::new(),
        }
    }
}
