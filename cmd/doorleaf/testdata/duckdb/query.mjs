// Runs the SQL of standard input in DuckDB and writes each statement's rows as one line of JSON.
import { readFileSync } from 'node:fs';
import { DuckDBInstance } from '@duckdb/node-api';

const connection = await (await DuckDBInstance.create(':memory:')).connect();
const statements = await connection.extractStatements(readFileSync(0, 'utf8'));
for (let i = 0; i < statements.count; i++) {
  const prepared = await statements.prepare(i);
  const reader = await prepared.runAndReadAll();
  process.stdout.write(JSON.stringify(reader.getRowObjectsJson()) + '\n');
}
