// Makes dist/: the drawing engine's script, the browser's, the typefaces, and their licences.
import { build } from 'esbuild'
import { copyFile, mkdir, readFile, writeFile } from 'node:fs/promises'
import { fileURLToPath } from 'node:url'
import path from 'node:path'
import { unpack } from './woff.mjs'

const here = path.dirname(fileURLToPath(import.meta.url))
const at = (...parts) => path.join(here, ...parts)

const faces = [
  ['literata', [600]],
  ['atkinson-hyperlegible-next', [400, 700]],
]

async function bundle(from, to, format) {
  const result = await build({
    entryPoints: [at(from)],
    outfile: at('dist', to),
    bundle: true,
    minify: true,
    format,
    target: 'es2022',
    charset: 'utf8',
    legalComments: 'none', // the licences stand in LICENSES.txt
    define: { 'process.env.NODE_ENV': '"production"' },
    metafile: true,
    logLevel: 'warning',
  })
  return packagesOf(Object.keys(result.metafile.inputs))
}

// packagesOf names the npm packages that files of node_modules belong to.
function packagesOf(files) {
  const names = files
    .map((f) => f.match(/node_modules\/((?:@[^/]+\/)?[^/]+)\//))
    .filter(Boolean)
    .map((m) => m[1])
  return [...new Set(names)].sort()
}

async function copyFaces() {
  for (const [face, weights] of faces) {
    for (const weight of weights) {
      const from = at('node_modules', '@fontsource', face, 'files', `${face}-latin-${weight}-normal.woff2`)
      await copyFile(from, at('dist', `${face}-${weight}.woff2`))
    }
  }
  return faces.map(([face]) => `@fontsource/${face}`)
}

// copyPaperFaces unpacks the faces for PDF, which knows no woff2: Latin, and what
// the rest of Europe adds to it.
async function copyPaperFaces() {
  for (const [face, weights] of faces) {
    for (const weight of weights) {
      for (const part of ['latin', 'latin-ext']) {
        const from = at('node_modules', '@fontsource', face, 'files', `${face}-${part}-${weight}-normal.woff`)
        await writeFile(at('dist', `${face}-${part}-${weight}.ttf`), unpack(await readFile(from)))
      }
    }
  }
}

async function licenceOf(name) {
  const folder = at('node_modules', ...name.split('/'))
  const { version, license } = JSON.parse(await readFile(path.join(folder, 'package.json'), 'utf8'))
  const texts = []
  for (const file of ['LICENSE', 'LICENSE.txt', 'NOTICE', 'licenses/LICENSE-d3']) {
    try {
      texts.push(await readFile(path.join(folder, file), 'utf8'))
    } catch (err) {
      if (err.code !== 'ENOENT') throw err
    }
  }
  if (texts.length === 0) throw new Error(`${name}: no licence text in the package`)
  return `${name} ${version} (${license})\n\n${texts.map((t) => t.trim()).join('\n\n')}\n`
}

await mkdir(at('dist'), { recursive: true })
const bundled = [...new Set([
  ...(await bundle('server.mjs', 'server.js', 'iife')),
  ...(await bundle('browser.mjs', 'live.js', 'esm')),
])].sort()
const fonts = await copyFaces()
await copyPaperFaces()
const licences = await Promise.all([...bundled, ...fonts].map(licenceOf))
await writeFile(at('dist', 'LICENSES.txt'), licences.join(`\n${'-'.repeat(72)}\n\n`))
