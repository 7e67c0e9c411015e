//! What leaves of a chart: `stock.csv`, `stock.npy`, `stock.ply`,
//! `stock-bone.ply`, `stock.html`.

mod best;
mod mesh;
mod page;
mod table;

pub use best::stock_words;
pub use mesh::{stock_bone_ply, stock_ply};
pub use page::stock_html;
pub use table::{STOCK_COLUMNS, stock_csv, stock_npy};
