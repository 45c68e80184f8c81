package assemble

import (
	"context"
)

// Clean empties the store. Takes, the manifest, sync.yaml and the finished
// films stay; the next run computes everything again.
func (p *Production) Clean(ctx context.Context) (CleanResult, error) {
	freed, err := p.store.Clean(ctx)
	return CleanResult{Bytes: freed.Bytes, Entries: freed.Entries}, err
}
