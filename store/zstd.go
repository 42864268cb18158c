package store

import (
	"fmt"
	"sync"

	"github.com/klauspost/compress/zstd"
)

// Zstandard (RFC 8878) at its second-best level of four: card files shrink to less than a
// fifth, which the faster ones just miss. Encoder and decoder hold no state between calls
// and may be shared.
var (
	zstdEncoder = sync.OnceValues(func() (*zstd.Encoder, error) {
		return zstd.NewWriter(nil, zstd.WithEncoderLevel(zstd.SpeedBetterCompression), zstd.WithWindowSize(windowBytes), zstd.WithEncoderCRC(true))
	})
	zstdDecoder = sync.OnceValues(func() (*zstd.Decoder, error) {
		return zstd.NewReader(nil, zstd.WithDecoderMaxMemory(maxBody))
	})
)

// windowBytes is how far back the encoder looks. Rows are like those just before them: a
// fourth of its usual 16 MB finds as much and leaves 24 MB of memory free.
const windowBytes = 4 << 20

// maxBody is the most that decompress makes, bytes. SQLite itself holds no blob
// of more than a thousand million bytes.
const maxBody = 1 << 30

// compress returns plain compressed, never nil.
func compress(plain []byte) ([]byte, error) {
	e, err := zstdEncoder()
	if err != nil {
		return nil, fmt.Errorf("compress: %w", err)
	}
	return e.EncodeAll(plain, make([]byte, 0, len(plain)/4+64)), nil
}

// decompress undoes compress. size is the expected length, or 0.
func decompress(packed []byte, size int64) ([]byte, error) {
	d, err := zstdDecoder()
	if err != nil {
		return nil, fmt.Errorf("decompress: %w", err)
	}
	plain, err := d.DecodeAll(packed, make([]byte, 0, size))
	if err != nil {
		return nil, fmt.Errorf("decompress: %w", err)
	}
	return plain, nil
}
