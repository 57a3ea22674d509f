using MimeKit;
using TankWatch.Service.Mail;

namespace TankWatch.Service.Tests.Mail;

/// <summary>A way out that does what the test says, and keeps what arrived.</summary>
internal sealed class FlakyTransport : IMailTransport
{
    public List<MimeMessage> Arrived { get; } = [];

    public Func<string?> Opens { get; set; } = () => null;

    /// <summary>Whether a mail arrives, and what is known of it; null when the process dies in the midst of the call.</summary>
    public Func<MimeMessage, (bool Arrives, MailOutcome? Outcome)> Sends { get; set; } = _ => (true, new MailOutcome.Sent());

    public int Openings { get; private set; }

    public Task<string?> OpenAsync(CancellationToken stop)
    {
        Openings++;
        return Task.FromResult(Opens());
    }

    public Task<MailOutcome> SendAsync(string key, MimeMessage message, CancellationToken stop)
    {
        var (arrives, outcome) = Sends(message);
        if (arrives)
        {
            var copy = new MemoryStream();
            message.WriteTo(copy, stop);
            copy.Position = 0;
            Arrived.Add(MimeMessage.Load(copy, stop));
        }

        return Task.FromResult(outcome ?? throw new OperationCanceledException("the process died"));
    }

    public Task RestAsync() => Task.CompletedTask;
}
