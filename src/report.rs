//! Stage 5: figures into documents. A view of finished strings per document, a template, the renderer.

pub mod cautions;
pub mod document;
pub mod filter_words;
pub mod fleet;
pub mod fleet_state;
pub mod fleet_view;
pub mod format;
pub mod index;
pub mod inside_view;
pub mod life_words;
pub mod logbook_view;
pub mod quote;
pub mod quote_view;
pub mod since;
pub mod site;
pub mod site_charts;
pub mod site_view;
pub mod statement;
pub mod statement_view;
pub mod template;
pub mod typst;
pub mod view;
pub mod visits_view;
pub mod ways_out_view;
pub mod work_sheets;
