//! Many recipes from one: every combination of values, or a seeded sample.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;

use super::{Recipe, RecipeError};
use crate::scan::uniform;
use crate::truth::Varied;

/// Fields that can be varied.
const FIELDS: [&str; 15] = [
    "cortex_mm",
    "depth_mm",
    "gap_mm",
    "cortex_hu",
    "cancellous_hu",
    "noise_hu",
    "blur_mm",
    "voxel_mm",
    "slice_mm",
    "turn_l_deg",
    "turn_p_deg",
    "turn_s_deg",
    "shift_l_mm",
    "shift_p_mm",
    "shift_s_mm",
];

impl Recipe {
    /// The recipes that this one stands for, each with the numbers that were
    /// varied; itself alone when nothing is.
    ///
    /// The noise of each has a seed of its own: the recipe's, plus its place.
    ///
    /// # Errors
    ///
    /// [`RecipeError`] when a field cannot be varied, a value is out of range,
    /// or there would be more than [`Recipe::MAX_VARIED`].
    pub fn varied(&self) -> Result<Vec<(Self, Vec<Varied>)>, RecipeError> {
        for (field, values) in &self.vary {
            if !FIELDS.contains(&field.as_str()) {
                return Err(RecipeError::Vary { field: field.clone(), known: FIELDS.join(", ") });
            }
            let count = values.len() as f64;
            if values.is_empty() {
                let field = format!("values of {field}");
                return Err(RecipeError::Range { field, value: count, low: 1.0, high: 1000.0 });
            }
        }
        let count = match &self.sample {
            Some(sample) => sample.count,
            None => self
                .vary
                .values()
                .try_fold(1_usize, |all, values| all.checked_mul(values.len()))
                .unwrap_or(usize::MAX),
        };
        if count == 0 || count > Self::MAX_VARIED {
            let (value, high) = (count as f64, Self::MAX_VARIED as f64);
            return Err(RecipeError::Range { field: "phantoms".to_owned(), value, low: 1.0, high });
        }
        let digits = count.to_string().len();
        (0..count)
            .map(|index| {
                let varied = self.values(index);
                let mut recipe =
                    Self { vary: std::collections::BTreeMap::new(), sample: None, ..self.clone() };
                // `voxel_mm` sets all edges, so that `slice_mm` may follow it.
                for number in varied.iter().filter(|n| n.field == "voxel_mm") {
                    recipe.set(&number.field, number.value);
                }
                for number in varied.iter().filter(|n| n.field != "voxel_mm") {
                    recipe.set(&number.field, number.value);
                }
                if count > 1 {
                    recipe.name = format!("{} {:0digits$}", self.name, index + 1);
                    recipe.scanner.seed = self.scanner.seed.wrapping_add(index as u64);
                }
                recipe.check()?;
                Ok((recipe, varied))
            })
            .collect()
    }

    /// The varied numbers of one recipe; the last field turns fastest.
    fn values(&self, index: usize) -> Vec<Varied> {
        let number = |field: &String, value| Varied { field: field.clone(), value };
        if let Some(sample) = &self.sample {
            let mut random = ChaCha8Rng::seed_from_u64(sample.seed);
            random.set_stream(index as u64);
            let draw = |(field, values): (&String, &Vec<f64>)| {
                let (low, high) = (values[0], values[values.len() - 1]);
                number(field, low + (high - low) * uniform(&mut random))
            };
            return self.vary.iter().map(draw).collect();
        }
        let mut rest = index;
        let mut out: Vec<Varied> = self
            .vary
            .iter()
            .rev()
            .map(|(field, values)| {
                let value = values[rest % values.len()];
                rest /= values.len();
                number(field, value)
            })
            .collect();
        out.reverse();
        out
    }

    fn set(&mut self, field: &str, value: f64) {
        let place = match field {
            "cortex_mm" => &mut self.bone.cortex_mm,
            "depth_mm" => &mut self.bone.depth_mm,
            "gap_mm" => &mut self.bone.gap_mm,
            "cortex_hu" => &mut self.bone.cortex_hu,
            "cancellous_hu" => &mut self.bone.cancellous_hu,
            "noise_hu" => &mut self.scanner.noise_hu,
            "blur_mm" => &mut self.scanner.blur_mm,
            "voxel_mm" => {
                self.grid.spacing_mm = [value; 3];
                return;
            }
            "slice_mm" => &mut self.grid.spacing_mm[2],
            "turn_l_deg" => &mut self.pose.turn_deg[0],
            "turn_p_deg" => &mut self.pose.turn_deg[1],
            "turn_s_deg" => &mut self.pose.turn_deg[2],
            "shift_l_mm" => &mut self.pose.shift_mm[0],
            "shift_p_mm" => &mut self.pose.shift_mm[1],
            _ => &mut self.pose.shift_mm[2],
        };
        *place = value;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recipe::SceneKind;

    #[test]
    fn every_combination_comes_once() {
        let text = "scene = \"plate\"\n[vary]\ncortex_mm = [1, 2, 3]\nnoise_hu = [0, 20]\n";
        let all = Recipe::parse(text).expect("reads").varied().expect("in range");
        assert_eq!(all.len(), 6);
        let pairs: std::collections::BTreeSet<String> = all
            .iter()
            .map(|(r, _)| format!("{} {}", r.bone.cortex_mm, r.scanner.noise_hu))
            .collect();
        assert_eq!(pairs.len(), 6);
        assert_eq!(all[5].0.name, "phantom 6");
        assert_ne!(all[0].0.scanner.seed, all[1].0.scanner.seed);
    }

    #[test]
    fn slices_and_voxels_vary_together() {
        let text = "scene = \"plate\"\n[vary]\nslice_mm = [2]\nvoxel_mm = [0.7, 0.9]\n";
        let all = Recipe::parse(text).expect("reads").varied().expect("in range");
        let spacings: Vec<_> = all.iter().map(|(r, _)| r.grid.spacing_mm).collect();
        assert_eq!(spacings, [[0.7, 0.7, 2.0], [0.9, 0.9, 2.0]]);
    }

    #[test]
    fn a_sample_stays_within_its_limits_and_follows_its_seed() {
        let text = "scene = \"ball\"\n[vary]\ncortex_mm = [0.6, 3.0]\nturn_s_deg = [-30, 30]\n\
                    [sample]\ncount = 50\nseed = 4\n";
        let recipe = Recipe::parse(text).expect("reads");
        let all = recipe.varied().expect("in range");
        assert!(all.iter().all(|(r, _)| (0.6..=3.0).contains(&r.bone.cortex_mm)));
        assert_eq!(all, recipe.varied().expect("in range"));
        let mean = all.iter().map(|(r, _)| r.bone.cortex_mm).sum::<f64>() / 50.0;
        assert!((mean - 1.8).abs() < 0.3, "{mean}");
    }

    #[test]
    fn what_cannot_be_varied_is_refused() {
        let mut recipe = Recipe::of(SceneKind::Plate);
        assert_eq!(recipe.varied().expect("itself").len(), 1);
        recipe.vary.insert("colour".to_owned(), vec![1.0]);
        assert!(matches!(recipe.varied(), Err(RecipeError::Vary { .. })));
        recipe.vary.clear();
        recipe.vary.insert("noise_hu".to_owned(), vec![]);
        assert!(matches!(recipe.varied(), Err(RecipeError::Range { .. })));
        recipe.vary.insert("noise_hu".to_owned(), vec![-5.0]);
        assert!(matches!(recipe.varied(), Err(RecipeError::Range { .. })));
    }
}
