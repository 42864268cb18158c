package cardfile

import (
	"bytes"
	"fmt"
	"testing"
	"time"
)

// million writes n rows of the commonest layout.
func million(n int) []byte {
	var b bytes.Buffer
	at := time.Date(2016, 1, 14, 9, 0, 0, 0, time.UTC)
	for i := range n {
		at = at.Add(time.Duration(60+i*7919%900) * time.Second)
		fmt.Fprintf(&b, "%s,%d\r\n", at.Format("Mon,01/02/06,15:04:05"), i*31%97)
	}
	return b.Bytes()
}

func BenchmarkRead(b *testing.B) {
	data := million(1_000_000)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		f, err := Read(data, Hint{})
		if err != nil || len(f.Rows) != 1_000_000 {
			b.Fatalf("%d rows, error %v", len(f.Rows), err)
		}
	}
}
