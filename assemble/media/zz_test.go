package media
import ("testing";"math/rand/v2";"os";"errors";"ripieno/assemble/fault";"ripieno/assemble/ffmpeg/ffmpegtest";"path/filepath";"time")
func TestZZ(t *testing.T){
 tool:=ffmpegtest.Tool(t); rng:=rand.New(rand.NewPCG(5,5))
 for _,f:=range []string{"a.mp4","late.mkv","film.ts","m.mp3","six.wav","nodur.webm","late.mp4"} {
  whole,err:=os.ReadFile("/tmp/ffmpegh/smoke/"+f); if err!=nil{t.Fatal(err)}
  for k:=range 12 {
   b:=append([]byte{},whole...)
   for range 1+rng.IntN(40) { p:=rng.IntN(len(b)); if rng.IntN(2)==0 && len(b)>4096 {p=rng.IntN(4096)}; if rng.IntN(4)==0 && len(b)>9000 {p=len(b)-1-rng.IntN(3000)}; b[p]=byte(rng.IntN(256)) }
   p:=write(t,f,b); s:=time.Now()
   i,err:=Probe(ctx,tool,p)
   if err!=nil { var x *fault.Fault; if !errors.As(err,&x)||x.Kind!=fault.Media { t.Errorf("%s %d: %v",f,k,err)} else {t.Logf("%s %d probe: %s",f,k,x.What)}; continue }
   if i.Audio==nil { t.Logf("%s %d no audio",f,k);continue}
   d,err:=Decode(ctx,tool,i,filepath.Join(t.TempDir(),"x.wav"))
   if err!=nil { var x *fault.Fault; if !errors.As(err,&x)||x.Kind!=fault.Media { t.Errorf("%s %d: %v",f,k,err)} else {t.Logf("%s %d decode: %s",f,k,fault.Format(err))}; continue }
   t.Logf("%s %d %.2fs of %.2f trunc %v dam %d %v (%v)",f,k,float64(d.Frames)/float64(d.Rate),i.Duration,d.Truncated,d.Damaged,d.Notes,time.Since(s).Round(time.Millisecond))
  }}
}
