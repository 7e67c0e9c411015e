//! What leaves of a chart: `stock.csv`, `stock.npy`, `stock.ply`, `stock.html`.

mod mesh;
mod page;
mod table;

pub use mesh::stock_ply;
pub use page::stock_html;
pub use table::{STOCK_COLUMNS, stock_csv, stock_npy};
