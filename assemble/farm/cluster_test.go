package farm

import (
	"context"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"ripieno/assemble/farm/farmtest"
)

// cluster is servers of the engine in processes of their own that know each other.
type cluster struct {
	t       *testing.T
	program string
	configs []string
	servers []farmtest.Server
	out     Outside
}

// gatherCluster starts three servers as the page for administrators says: one folder, copied
// to each machine, and beside it a file that names the others.
func gatherCluster(t *testing.T) *cluster {
	t.Helper()
	c := &cluster{t: t, program: farmtest.Build(t)}
	first := t.TempDir()
	routes := make([]string, 3)
	for k := range routes {
		routes[k] = freeAddress(t)
	}
	for k, at := range routes {
		dir := first
		if k > 0 {
			dir = t.TempDir()
			if err := os.Link(filepath.Join(first, identityFile), filepath.Join(dir, identityFile)); err != nil {
				t.Fatal(err)
			}
		}
		out, err := Configure(OutsideOptions{Dir: dir, Address: "127.0.0.1:4222", Space: 200e6})
		if err != nil {
			t.Fatal(err)
		}
		c.out = out
		config := filepath.Join(dir, "cluster.conf")
		text := fmt.Sprintf("include \"nats-server.conf\"\nserver_name: server%d\ncluster {\n  name: ripieno\n  listen: %q\n"+
			"  routes: [ \"nats://%s\" ]\n}\n", k, at, strings.Join(routes, `", "nats://`))
		if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		c.configs = append(c.configs, config)
		c.servers = append(c.servers, farmtest.Start(t, c.program, config, ""))
	}
	return c
}

// freeAddress returns an address that nothing listens on.
func freeAddress(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// at returns an invitation that names the servers, beginning with one of them.
func (c *cluster) at(in Invitation, first int) Invitation {
	var list []string
	for k := range c.servers {
		list = append(list, c.servers[(first+k)%len(c.servers)].Address)
	}
	in.Address = strings.Join(list, ",")
	return in
}

// restart kills a server, and starts it again after a time.
func (c *cluster) restart(k int, after time.Duration) {
	c.t.Helper()
	at := c.servers[k].Address
	c.servers[k].Kill(c.t)
	time.Sleep(after)
	c.servers[k] = farmtest.Start(c.t, c.program, c.configs[k], at)
}

// TestAClusterIsAHub has orders made by way of three servers, by workers that begin at two of
// them for a home that begins at the third, while each of the servers is killed and comes
// back. What the files lie on is away meanwhile: nothing is there twice. Every order is made
// in the end, elsewhere or at home, and most are made elsewhere.
func TestAClusterIsAHub(t *testing.T) {
	t.Parallel()
	c := gatherCluster(t)
	var made atomic.Int32
	for k, name := range []string{"first", "second"} {
		o := workers(func(ctx context.Context, args []byte, in []string, dst string) error {
			made.Add(1)
			time.Sleep(100 * time.Millisecond)
			return double(ctx, args, in, dst)
		})
		o.Name, o.Cores = name, 2
		workHere(t, c.at(c.out.Workers, k+1), o)
	}
	home := joinHere(t, c.at(c.out.Home, 0), 4)
	giveTwelve(t, home)
	t.Logf("%d orders are made, of twelve", made.Load())
	const orders, atOnce = 60, 4
	todo := make(chan int)
	var away atomic.Int32
	var run sync.WaitGroup
	for range atOnce {
		run.Go(func() {
			for n := range todo {
				text, err := makeHere(t, home, n)
				if err != nil {
					t.Logf("%d is made at home: %v", n, err)
					continue
				}
				if away.Add(1); text != "once once " {
					t.Errorf("%d came home as %q", n, text)
				}
			}
		})
	}
	for n := range orders {
		todo <- 100 + n
		if k := n / 15; n%15 == 10 && k < len(c.servers) {
			c.restart(k, 300*time.Millisecond)
		}
	}
	close(todo)
	run.Wait()
	t.Logf("%d of %d orders are made elsewhere", away.Load(), orders)
	if away.Load() < orders/2 {
		t.Errorf("%d of %d orders are made elsewhere", away.Load(), orders)
	}
}
