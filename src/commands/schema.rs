//! `tubwright schema`: JSON Schemas of the record files, for editors; of the views, for templates.

use crate::cli::Schema;
use crate::commands::Failure;
use crate::output;
use crate::printer::Printer;
use crate::records::schema;
use crate::report::view_schemas;

/// Writes the schemas, each file whole or not at all.
///
/// # Errors
/// If the folder cannot be written.
pub fn run(arguments: &Schema, printer: Printer) -> Result<u8, Failure> {
    let schemas = if arguments.views { view_schemas::schemas() } else { schema::schemas() };
    for (file, schema) in &schemas {
        output::write_atomically(&arguments.out.join(file), schema::text(schema).as_bytes()).map_err(Failure::new)?;
    }
    printer.summary(&format!("{} schemas in {}", schemas.len(), arguments.out.display()));
    Ok(0)
}
